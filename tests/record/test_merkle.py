"""Every proof of any tree is verified, and nothing else is; held to the definition, written out a second time."""

import hashlib

import pytest
from hypothesis import given
from hypothesis import strategies as st

from station.record.merkle import (
    EMPTY_ROOT,
    completed_by,
    consistency_proof,
    inclusion_proof,
    leaf_hash,
    node_hash,
    nodes_of,
    root,
    root_of,
    verify_consistency,
    verify_inclusion,
)

SIZES = st.integers(1, 200)


def leaves_of(size):
    return [leaf_hash(str(number).encode()) for number in range(size)]


def defined(leaves):
    """The root by RFC 9162, section 2.1.1, word for word."""
    if len(leaves) == 1:
        return leaves[0]
    k = 1
    while 2 * k < len(leaves):
        k *= 2
    return hashlib.sha256(b"\x01" + defined(leaves[:k]) + defined(leaves[k:])).digest()


@given(SIZES)
def test_roots_are_those_of_the_definition(size):
    leaves = leaves_of(size)
    assert root_of(leaves) == root(size, nodes_of(leaves)) == defined(leaves)


@given(SIZES, st.data())
def test_an_earlier_tree_is_made_of_the_same_subtrees(size, data):
    leaves, old = leaves_of(size), data.draw(st.integers(0, size))
    assert root(old, nodes_of(leaves)) == root_of(leaves[:old])


@given(SIZES, st.data())
def test_inclusion_is_verified(size, data):
    leaves, index = leaves_of(size), data.draw(st.integers(0, size - 1))
    proof = inclusion_proof(index, size, nodes_of(leaves))
    assert len(proof) <= (size - 1).bit_length()
    assert verify_inclusion(leaves[index], index, size, proof, defined(leaves))


@given(SIZES, st.data())
def test_consistency_is_verified(size, data):
    leaves, old = leaves_of(size), data.draw(st.integers(1, size))
    proof = consistency_proof(old, size, nodes_of(leaves))
    assert len(proof) <= (size - 1).bit_length() + 1
    assert verify_consistency(old, size, defined(leaves[:old]), defined(leaves), proof)


def mutations(proof, data):
    """The proof with a bit turned, a hash left out, doubled or added, or two exchanged."""
    kind = data.draw(st.sampled_from(["bit", "less", "twice", "more"] if proof else ["more"]))
    place = data.draw(st.integers(0, len(proof) - 1)) if proof else 0
    if kind == "bit":
        changed = bytearray(proof[place])
        changed[data.draw(st.integers(0, 31))] ^= 1 << data.draw(st.integers(0, 7))
        return [*proof[:place], bytes(changed), *proof[place + 1:]]
    if kind == "less":
        return [*proof[:place], *proof[place + 1:]]
    if kind == "twice":
        return [*proof[:place], proof[place], *proof[place:]]
    return [*proof, leaf_hash(b"more")]


@given(SIZES, st.data())
def test_a_changed_proof_of_inclusion_is_refused(size, data):
    leaves, index = leaves_of(size), data.draw(st.integers(0, size - 1))
    whole, proof = defined(leaves), inclusion_proof(index, size, nodes_of(leaves))
    assert not verify_inclusion(leaves[index], index, size, mutations(proof, data), whole)
    assert not verify_inclusion(leaf_hash(b"other"), index, size, proof, whole)
    assert not verify_inclusion(leaves[index], index, size, proof, leaf_hash(b"other"))
    other = data.draw(st.integers(-1, size).filter(lambda wrong: wrong != index))
    assert not verify_inclusion(leaves[index], other, size, proof, whole)
    assert not verify_inclusion(leaves[index], index, 4 * size, proof, whole)   # nearer sizes may have the same path


@given(st.integers(2, 200), st.data())
def test_a_changed_proof_of_consistency_is_refused(size, data):
    leaves, old = leaves_of(size), data.draw(st.integers(1, size))
    first, second = defined(leaves[:old]), defined(leaves)
    proof = consistency_proof(old, size, nodes_of(leaves))
    assert not verify_consistency(old, size, first, second, mutations(proof, data))
    assert not verify_consistency(old, size, leaf_hash(b"other"), second, proof)
    assert not verify_consistency(old, size, first, leaf_hash(b"other"), proof)
    assert not verify_consistency(old, 4 * size, first, second, proof)


@given(st.integers(2, 200), st.data())
def test_a_tree_with_another_beginning_is_no_continuation(size, data):
    leaves, old = leaves_of(size), data.draw(st.integers(1, size - 1))
    place = data.draw(st.integers(0, old - 1))
    forged = [*leaves[:place], leaf_hash(b"forged"), *leaves[place + 1:]]
    proof = consistency_proof(old, size, nodes_of(forged))
    assert not verify_consistency(old, size, defined(leaves[:old]), defined(forged), proof)


def test_the_empty_tree_is_the_beginning_of_every_other():
    leaves = leaves_of(5)
    assert consistency_proof(0, 5, nodes_of(leaves)) == ()
    assert verify_consistency(0, 5, EMPTY_ROOT, root_of(leaves), ())
    assert not verify_consistency(0, 5, root_of(leaves), root_of(leaves), ())
    assert not verify_consistency(0, 5, EMPTY_ROOT, root_of(leaves), leaves[:1])
    assert root(0, nodes_of([])) == EMPTY_ROOT


def test_a_tree_grows_and_never_shrinks():
    first, second = root_of(leaves_of(5)), root_of(leaves_of(3))
    assert not verify_consistency(5, 3, first, second, ())
    assert not verify_consistency(3, 5, second, first, ())
    assert not verify_consistency(-1, 5, second, first, ())


@pytest.mark.parametrize(("index", "size"), [(3, 3), (-1, 3), (0, 0)])
def test_no_proof_of_a_leaf_that_is_not_there(index, size):
    with pytest.raises(ValueError, match="leaf"):
        inclusion_proof(index, size, nodes_of(leaves_of(3)))
    assert not verify_inclusion(leaf_hash(b""), index, size, (), EMPTY_ROOT)


@pytest.mark.parametrize(("old", "new"), [(4, 3), (-1, 3)])
def test_no_proof_backwards(old, new):
    with pytest.raises(ValueError, match="tree"):
        consistency_proof(old, new, nodes_of(leaves_of(3)))


@given(st.integers(0, 5000))
def test_a_leaf_completes_the_subtrees_that_end_with_it(index):
    wanted = sum((index + 1) % 2 ** level == 0 for level in range(1, 14))
    assert completed_by(index) == wanted


def test_leaves_and_nodes_are_told_apart():
    left, right = leaf_hash(b"a"), leaf_hash(b"b")
    assert leaf_hash(left + right) != node_hash(left, right)
