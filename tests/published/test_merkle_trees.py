"""Roots, leaves and proofs of the reference tree of eight leaves, which implementations of RFC 6962 share.

Source: tests of Certificate Transparency (merkle_tree_test.cc: leaves, roots, paths, proofs), read in several public
copies; the trees of RFC 6962 and RFC 9162 are the same. The empty tree's root is in RFC 9162, section 2.1.1.
"""

import pytest

from station.record.merkle import (
    EMPTY_ROOT,
    consistency_proof,
    inclusion_proof,
    leaf_hash,
    nodes_of,
    root_of,
    verify_consistency,
    verify_inclusion,
)

CONTENTS = ["", "00", "10", "2021", "3031", "40414243", "5051525354555657", "606162636465666768696a6b6c6d6e6f"]
ROOTS = [
    "6e340b9cffb37a989ca544e6bb780a2c78901d3fb33738768511a30617afa01d",
    "fac54203e7cc696cf0dfcb42c92a1d9dbaf70ad9e621f4bd8d98662f00e3c125",
    "aeb6bcfe274b70a14fb067a5e5578264db0fa9b51af5e0ba159158f329e06e77",
    "d37ee418976dd95753c1c73862b9398fa2a2cf9b4ff0fdfe8b30cd95209614b7",
    "4e3bbb1f7b478dcfe71fb631631519a3bca12c9aefca1612bfce4c13a86264d4",
    "76e67dadbcdf1e10e1b74ddc608abd2f98dfb16fbce75277b5232a127f2087ef",
    "ddb89be403809e325750d3d263cd78929c2942b7942a34b77e122c9594a74c8c",
    "5dc9da79a70659a9ad559cb701ded9a2ab9d823aad2f4960cfe370eff4604328",
]
INCLUSIONS = [
    (0, 1, []),
    (0, 8, ["96a296d224f285c67bee93c30f8a309157f0daa35dc5b87e410b78630a09cfc7",
            "5f083f0a1a33ca076a95279832580db3e0ef4584bdff1f54c8a360f50de3031e",
            "6b47aaf29ee3c2af9af889bc1fb9254dabd31177f16232dd6aab035ca39bf6e4"]),
    (5, 8, ["bc1a0643b12e4d2d7c77918f44e0f4f79a838b6cf9ec5b5c283e1f4d88599e6b",
            "ca854ea128ed050b41b35ffc1b87b8eb2bde461e9e3b5596ece6b9d5975a0ae0",
            "d37ee418976dd95753c1c73862b9398fa2a2cf9b4ff0fdfe8b30cd95209614b7"]),
    (2, 3, ["fac54203e7cc696cf0dfcb42c92a1d9dbaf70ad9e621f4bd8d98662f00e3c125"]),
    (1, 5, ["6e340b9cffb37a989ca544e6bb780a2c78901d3fb33738768511a30617afa01d",
            "5f083f0a1a33ca076a95279832580db3e0ef4584bdff1f54c8a360f50de3031e",
            "bc1a0643b12e4d2d7c77918f44e0f4f79a838b6cf9ec5b5c283e1f4d88599e6b"]),
]
CONSISTENCIES = [
    (1, 1, []),
    (1, 8, ["96a296d224f285c67bee93c30f8a309157f0daa35dc5b87e410b78630a09cfc7",
            "5f083f0a1a33ca076a95279832580db3e0ef4584bdff1f54c8a360f50de3031e",
            "6b47aaf29ee3c2af9af889bc1fb9254dabd31177f16232dd6aab035ca39bf6e4"]),
    (6, 8, ["0ebc5d3437fbe2db158b9f126a1d118e308181031d0a949f8dededebc558ef6a",
            "ca854ea128ed050b41b35ffc1b87b8eb2bde461e9e3b5596ece6b9d5975a0ae0",
            "d37ee418976dd95753c1c73862b9398fa2a2cf9b4ff0fdfe8b30cd95209614b7"]),
    (2, 5, ["5f083f0a1a33ca076a95279832580db3e0ef4584bdff1f54c8a360f50de3031e",
            "bc1a0643b12e4d2d7c77918f44e0f4f79a838b6cf9ec5b5c283e1f4d88599e6b"]),
    (3, 7, ["0298d122906dcfc10892cb53a73992fc5b9f493ea4c9badb27b791b4127a7fe7",
            "07506a85fd9dd2f120eb694f86011e5bb4662e5c415a62917033d4a9624487e7",
            "fac54203e7cc696cf0dfcb42c92a1d9dbaf70ad9e621f4bd8d98662f00e3c125",
            "837dbb152e9b079010717e84e865da4ebc0fa198a806d59d31bf15accef22d0e"]),
]
LEAVES = [leaf_hash(bytes.fromhex(content)) for content in CONTENTS]


def test_the_empty_tree():
    assert EMPTY_ROOT.hex() == "e3b0c44298fc1c149afbf4c8996fb92427ae41e4649b934ca495991b7852b855"
    assert root_of([]) == EMPTY_ROOT


@pytest.mark.parametrize("size", range(1, 9))
def test_roots(size):
    assert root_of(LEAVES[:size]).hex() == ROOTS[size - 1]


@pytest.mark.parametrize(("index", "size", "path"), INCLUSIONS)
def test_inclusion(index, size, path):
    proof = inclusion_proof(index, size, nodes_of(LEAVES))
    assert [one.hex() for one in proof] == path
    assert verify_inclusion(LEAVES[index], index, size, proof, bytes.fromhex(ROOTS[size - 1]))


@pytest.mark.parametrize(("old", "new", "path"), CONSISTENCIES)
def test_consistency(old, new, path):
    proof = consistency_proof(old, new, nodes_of(LEAVES))
    assert [one.hex() for one in proof] == path
    old_root, new_root = (bytes.fromhex(ROOTS[size - 1]) for size in (old, new))
    assert verify_consistency(old, new, old_root, new_root, proof)
