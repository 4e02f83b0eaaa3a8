"""Merkle trees over a log that only grows: roots, proofs and their verification; pure.

Everything here works on leaf hashes, see `leaf_hash`. A `Node` returns the hash of one complete subtree, so that
whoever keeps those hashes makes any proof from O(log n) of them.

Source: RFC 9162, section 2.1.
"""

import hashlib
from collections.abc import Callable, Sequence

HASH_SIZE = 32                              # bytes
EMPTY_ROOT = hashlib.sha256(b"").digest()   # section 2.1.1

Node = Callable[[int, int], bytes]          # (level, position): of leaves position x 2^level up to the next one's


def leaf_hash(content: bytes) -> bytes:
    """Return the hash of a leaf with this content. Source: section 2.1.1."""
    return hashlib.sha256(b"\x00" + content).digest()


def node_hash(left: bytes, right: bytes) -> bytes:
    """Return the hash of the node above two others. Source: section 2.1.1."""
    return hashlib.sha256(b"\x01" + left + right).digest()


def root_of(leaves: Sequence[bytes]) -> bytes:
    """Return the root over all leaf hashes, level by level; the odd one of a level moves up unchanged."""
    level, digest = list(leaves), hashlib.sha256
    if not level:
        return EMPTY_ROOT
    while len(level) > 1:
        odd = level[-1:] if len(level) % 2 else []
        # `node_hash` in place: a whole log is a million of these
        level = [digest(b"\x01" + left + right).digest()
                 for left, right in zip(level[0::2], level[1::2], strict=False)] + odd
    return level[0]


def nodes_of(leaves: Sequence[bytes]) -> Node:
    """Return the complete subtrees over leaf hashes held in memory; O(n) hashes, for exports and small logs."""
    levels = [list(leaves)]
    while len(levels[-1]) > 1:
        below = levels[-1]
        levels.append([node_hash(*pair) for pair in zip(below[0::2], below[1::2], strict=False)])
    return lambda level, position: levels[level][position]


def completed_by(index: int) -> int:
    """Return how many subtrees above the leaves are complete once leaf `index` stands, each a level higher."""
    return (~index & (index + 1)).bit_length() - 1


def root(size: int, node: Node) -> bytes:
    """Return the root over the first `size` leaves."""
    return _span(0, size, node) if size else EMPTY_ROOT


def inclusion_proof(index: int, size: int, node: Node) -> tuple[bytes, ...]:
    """Return the proof that leaf `index` is in the tree of `size` leaves, lowest hash first.

    ValueError unless 0 <= index < size. Source: section 2.1.3.1.
    """
    if not 0 <= index < size:
        raise ValueError(f"leaf {index} of a tree of {size}")
    path, start, end = [], 0, size
    while end - start > 1:
        middle = start + _left_part(end - start)
        if index < middle:
            path.append(_span(middle, end, node))
            end = middle
        else:
            path.append(_span(start, middle, node))
            start = middle
    return tuple(reversed(path))


def consistency_proof(old_size: int, new_size: int, node: Node) -> tuple[bytes, ...]:
    """Return the proof that the tree of `old_size` leaves is the beginning of that of `new_size`, lowest hash first.

    Empty when the sizes are equal and when the old tree is. ValueError unless 0 <= old_size <= new_size.
    Source: section 2.1.4.1.
    """
    if not 0 <= old_size <= new_size:
        raise ValueError(f"from a tree of {old_size} to one of {new_size}")
    if not old_size:
        return ()
    path, start, end, known = [], 0, new_size, True     # known: whoever verifies has this subtree's hash already
    while old_size != end:
        middle = start + _left_part(end - start)
        if old_size <= middle:
            path.append(_span(middle, end, node))
            end = middle
        else:
            path.append(_span(start, middle, node))
            start, known = middle, False
    if not known:
        path.append(_span(start, end, node))
    return tuple(reversed(path))


def verify_inclusion(leaf: bytes, index: int, size: int, proof: Sequence[bytes], root: bytes) -> bool:
    """Return whether `proof` shows that `leaf` is leaf `index` of the tree of `size` leaves with this root.

    Source: section 2.1.3.2.
    """
    if not 0 <= index < size:
        return False
    place, last, reached = index, size - 1, leaf
    for sibling in proof:
        if last == 0:
            return False
        if place & 1 or place == last:
            reached = node_hash(sibling, reached)
            while not place & 1 and place:
                place, last = place >> 1, last >> 1
        else:
            reached = node_hash(reached, sibling)
        place, last = place >> 1, last >> 1
    return last == 0 and reached == root


def verify_consistency(old_size: int, new_size: int, old_root: bytes, new_root: bytes, proof: Sequence[bytes]) -> bool:
    """Return whether `proof` shows that the old tree is the beginning of the new one.

    Trees of equal size are consistent when their roots are equal, and the empty tree is the beginning of every
    other; both without a proof. Source: section 2.1.4.2.
    """
    if not 0 <= old_size <= new_size:
        return False
    if old_size in {0, new_size}:
        return not proof and old_root == (EMPTY_ROOT if not old_size else new_root)
    if not proof:
        return False
    path = [old_root, *proof] if old_size & (old_size - 1) == 0 else list(proof)
    place, last = old_size - 1, new_size - 1
    while place & 1:
        place, last = place >> 1, last >> 1
    old_reached = new_reached = path[0]
    for sibling in path[1:]:
        if last == 0:
            return False
        if place & 1 or place == last:
            old_reached, new_reached = node_hash(sibling, old_reached), node_hash(sibling, new_reached)
            while not place & 1 and place:
                place, last = place >> 1, last >> 1
        else:
            new_reached = node_hash(new_reached, sibling)
        place, last = place >> 1, last >> 1
    return last == 0 and old_reached == old_root and new_reached == new_root


def _left_part(size: int) -> int:
    """Return the largest power of two below `size`, which is how many leaves the left subtree has."""
    return 1 << ((size - 1).bit_length() - 1)


def _span(start: int, end: int, node: Node) -> bytes:
    """Return the hash over leaves `start` up to `end`, a span that the splits of section 2.1.1 make."""
    size = end - start
    if size & (size - 1) == 0:
        level = size.bit_length() - 1
        return node(level, start >> level)
    middle = start + _left_part(size)
    return node_hash(_span(start, middle, node), _span(middle, end, node))
