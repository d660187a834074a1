"""The tree of seals against the published vectors of Certificate Transparency's reference log.

The eight leaves and the roots are the test vectors of the Certificate Transparency project
(merkletree tests of its reference implementation), made by the rules of RFC 6962 section 2.1.
"""

from hashlib import sha256
from itertools import product

import pytest
from hypothesis import given
from hypothesis import strategies as st

from gradation.proofs import tree

CONTENTS = [
    bytes.fromhex(text)
    for text in (
        "", "00", "10", "2021", "3031", "40414243", "5051525354555657",
        "606162636465666768696a6b6c6d6e6f",
    )
]  # fmt: skip
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
LEAVES = [tree.leaf_hash(content) for content in CONTENTS]


def test_empty_tree_has_the_hash_of_nothing():
    assert tree.root_of([]) == sha256(b"").digest()


@pytest.mark.parametrize("size", range(1, 9))
def test_p1_roots_are_those_of_the_published_vectors(size):
    assert tree.root_of(LEAVES[:size]).hex() == ROOTS[size - 1]


def by_definition(leaves):
    """Compute the root straight from the definition in RFC 6962 section 2.1."""
    if len(leaves) == 1:
        return leaves[0]
    left = 1
    while left * 2 < len(leaves):
        left *= 2
    both = by_definition(leaves[:left]) + by_definition(leaves[left:])
    return sha256(b"\x01" + both).digest()


def many(count):
    return [tree.leaf_hash(str(n).encode()) for n in range(count)]


@given(st.integers(1, 200))
def test_growing_leaf_by_leaf_gives_the_root_of_the_definition(count):
    assert tree.root_of(many(count)) == by_definition(many(count))


@given(st.integers(0, 60), st.integers(0, 60))
def test_growth_goes_on_from_what_a_seal_keeps(first, more):
    leaves = many(first + more)
    begun = tree.Growth()
    for leaf in leaves[:first]:
        begun.add(leaf)

    going_on = tree.Growth(begun.size, begun.roots)
    for leaf in leaves[first:]:
        going_on.add(leaf)

    assert going_on.root() == tree.root_of(leaves)


def test_every_leaf_of_small_trees_is_proven_and_no_other():
    for size in range(1, 20):
        leaves, root = many(size), tree.root_of(many(size))
        for place, other in product(range(size), range(size)):
            path = tree.inclusion_path(leaves, place)
            proven = tree.holds_leaf(leaves[other], place, size, path, root)
            assert proven == (other == place), (size, place, other)


@given(st.data())
def test_a_damaged_path_proves_nothing(data):
    size = data.draw(st.integers(2, 70))
    leaves, place = many(size), data.draw(st.integers(0, size - 1))
    path, root = tree.inclusion_path(leaves, place), tree.root_of(leaves)
    at = data.draw(st.integers(0, len(path) - 1))
    damaged = [*path[:at], sha256(path[at]).digest(), *path[at + 1 :]]

    assert tree.holds_leaf(leaves[place], place, size, path, root)
    assert not tree.holds_leaf(leaves[place], place, size, damaged, root)
    assert not tree.holds_leaf(leaves[place], place, size, path[:-1], root)
    assert not tree.holds_leaf(leaves[place], place, size, [*path, root], root)


def test_p1_a_proof_in_a_tree_of_a_million_leaves_has_twenty_hashes():
    leaves = [n.to_bytes(32, "big") for n in range(1_000_000)]

    path = tree.inclusion_path(leaves, 777_777)

    assert (len(path), sum(map(len, path))) == (20, 640)
    assert tree.holds_leaf(leaves[777_777], 777_777, len(leaves), path, tree.root_of(leaves))


def test_every_older_tree_is_proven_the_beginning_of_every_newer_one():
    for size in range(1, 20):
        leaves = many(size)
        root = tree.root_of(leaves)
        for older in range(1, size + 1):
            path = tree.consistency_path(leaves, older)
            older_root = tree.root_of(leaves[:older])
            assert tree.is_beginning_of(older, older_root, size, root, path), (older, size)
            another = tree.root_of([*leaves[: older - 1], tree.leaf_hash(b"another")])
            assert not tree.is_beginning_of(older, another, size, root, path), (older, size)


def test_a_rewritten_newer_tree_is_no_continuation():
    leaves = many(11)
    rewritten = [*leaves[:3], tree.leaf_hash(b"another"), *leaves[4:]]
    path = tree.consistency_path(rewritten, 6)

    root = tree.root_of(rewritten)
    assert not tree.is_beginning_of(6, tree.root_of(leaves[:6]), 11, root, path)


def test_an_empty_tree_is_the_beginning_of_all_and_a_longer_one_of_none():
    root = tree.root_of(many(3))

    assert tree.is_beginning_of(0, tree.EMPTY_ROOT, 3, root, [])
    assert not tree.is_beginning_of(5, root, 3, root, [])
    assert not tree.is_beginning_of(2, root, 3, root, [])
    assert not tree.is_beginning_of(3, tree.EMPTY_ROOT, 3, root, [])
    assert not tree.holds_leaf(root, 3, 3, [], root)
