"""The Merkle tree over sealed heads of chains, as RFC 6962 section 2.1 defines it.

Hashes are SHA-256; a leaf is hashed after a byte 0, a pair of nodes after a byte 1, so that no
leaf can pass for a node. The tree only grows, and a short proof shows that a leaf is in it
(section 2.1.1) or that an older tree is its beginning (section 2.1.2).
"""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from hashlib import sha256

__all__ = [
    "EMPTY_ROOT",
    "Growth",
    "consistency_path",
    "holds_leaf",
    "inclusion_path",
    "is_beginning_of",
    "leaf_hash",
    "root_of",
    "sealed_head_hash",
]

EMPTY_ROOT = sha256(b"").digest()


def leaf_hash(content: bytes) -> bytes:
    """Compute the hash of a leaf."""
    return sha256(b"\x00" + content).digest()


def _node(left: bytes, right: bytes) -> bytes:
    return sha256(b"\x01" + left + right).digest()


def sealed_head_hash(chain: str, sequence: int, digest: str) -> bytes:
    """Compute the leaf that stands for the head of a chain."""
    return leaf_hash(f"{chain}\n{sequence}\n{digest}".encode())


class Growth:
    """A tree that grows leaf by leaf and remembers only the roots of its full subtrees."""

    def __init__(self, size: int = 0, roots: Iterable[bytes] = ()) -> None:
        self.size = size
        self.roots = list(roots)

    def add(self, leaf: bytes) -> None:
        """Take one more leaf."""
        node, size = leaf, self.size
        while size & 1:
            node = _node(self.roots.pop(), node)
            size >>= 1
        self.roots.append(node)
        self.size += 1

    def root(self) -> bytes:
        """Give the root of all leaves so far."""
        if not self.roots:
            return EMPTY_ROOT
        *left, node = self.roots
        for each in reversed(left):
            node = _node(each, node)
        return node


def root_of(leaves: Iterable[bytes]) -> bytes:
    """Compute the root of a tree of these leaves."""
    tree = Growth()
    for leaf in leaves:
        tree.add(leaf)
    return tree.root()


def _left_size(size: int) -> int:
    """Give the leaves of the left subtree: the largest power of two below the size."""
    return int(1 << ((size - 1).bit_length() - 1))


def inclusion_path(leaves: Sequence[bytes], place: int) -> list[bytes]:
    """Give the hashes that prove that the leaf at `place` is in the tree, nearest first."""
    if len(leaves) == 1:
        return []
    left = _left_size(len(leaves))
    if place < left:
        return [*inclusion_path(leaves[:left], place), root_of(leaves[left:])]
    return [*inclusion_path(leaves[left:], place - left), root_of(leaves[:left])]


def holds_leaf(leaf: bytes, place: int, size: int, path: Sequence[bytes], root: bytes) -> bool:
    """Say whether the path proves that the leaf stands at its place in a tree of that root."""
    if not 0 <= place < size:
        return False
    node, at, last = leaf, place, size - 1
    for other in path:
        if last == 0:
            return False
        if at & 1 or at == last:
            node = _node(other, node)
            while at and not at & 1:
                at, last = at >> 1, last >> 1
        else:
            node = _node(node, other)
        at, last = at >> 1, last >> 1
    return last == 0 and node == root


def consistency_path(leaves: Sequence[bytes], older: int) -> list[bytes]:
    """Give the hashes that prove that the first `older` leaves were the tree once."""
    return _consistency(leaves, older, is_whole=True) if 0 < older < len(leaves) else []


def _consistency(leaves: Sequence[bytes], older: int, *, is_whole: bool) -> list[bytes]:
    if older == len(leaves):
        return [] if is_whole else [root_of(leaves)]
    left = _left_size(len(leaves))
    if older <= left:
        return [*_consistency(leaves[:left], older, is_whole=is_whole), root_of(leaves[left:])]
    path = _consistency(leaves[left:], older - left, is_whole=False)
    return [*path, root_of(leaves[:left])]


def is_beginning_of(
    older: int, older_root: bytes, size: int, root: bytes, path: Sequence[bytes]
) -> bool:
    """Say whether the path proves that the older tree is the beginning of the newer one."""
    if older == size:
        return older_root == root and not path
    if older == 0 or older > size:
        return older == 0 and not path
    hashes = list(path)
    if older & (older - 1) == 0:
        hashes.insert(0, older_root)
    at, last = older - 1, size - 1
    while at & 1:
        at, last = at >> 1, last >> 1
    if not hashes:
        return False
    first = second = hashes[0]
    for other in hashes[1:]:
        if last == 0:
            return False
        if at & 1 or at == last:
            first, second = _node(other, first), _node(other, second)
            while at and not at & 1:
                at, last = at >> 1, last >> 1
        else:
            second = _node(second, other)
        at, last = at >> 1, last >> 1
    return last == 0 and first == older_root and second == root
