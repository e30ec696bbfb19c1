"""The tree of hashes: the roots of the known example, every path of every size, and nothing else fits."""

import itertools

import pytest
from hypothesis import given
from hypothesis import strategies as st

from heavyspot.ledger.store.tree import EMPTY, leaf_hash, node_hash, path_to, root_from, root_over

# Leaves and roots of the example the first implementations of RFC 6962 were tested with (from memory).
LEAVES = [
    "",
    "00",
    "10",
    "2021",
    "3031",
    "40414243",
    "5051525354555657",
    "606162636465666768696a6b6c6d6e6f",
]
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
HASHES = [leaf_hash(bytes.fromhex(leaf)) for leaf in LEAVES]


def by_definition(hashes):
    """RFC 9162, 2.1.1, word by word: split at the largest power of two that is smaller."""
    if len(hashes) == 1:
        return hashes[0]
    k = 1
    while 2 * k < len(hashes):
        k *= 2
    return node_hash(by_definition(hashes[:k]), by_definition(hashes[k:]))


@pytest.mark.parametrize("n", range(1, 9))
def test_roots_of_the_known_example(n):
    assert root_over(HASHES[:n]).hex() == ROOTS[n - 1] == by_definition(HASHES[:n]).hex()
    assert root_over([]) == EMPTY


def test_every_path_of_every_size_leads_to_its_root_and_to_none_else():
    hashes = [leaf_hash(bytes([i])) for i in range(40)]
    for size in range(1, 41):
        root = root_over(hashes[:size])
        assert root == by_definition(hashes[:size])
        for index in range(size):
            path = path_to(index, hashes[:size])
            assert root_from(hashes[index], index, size, path) == root
            for other in {index - 1, index + 1, size} - {index}:
                assert root_from(hashes[index], other, size, path) != root
            assert root_from(hashes[index], index, size, [*path, EMPTY]) is None
            assert not path or root_from(hashes[index], index, size, path[:-1]) != root


@given(st.integers(1, 300), st.sampled_from([1, 2, 4, 8, 16]))
def test_blocks_of_a_power_of_two_are_nodes_of_every_larger_tree(size, block):
    hashes = [leaf_hash(n.to_bytes(2, "big")) for n in range(size)]
    blocks = (
        [root_over(b) for b in itertools.batched(hashes, block)]
        if hasattr(itertools, "batched")
        else [root_over(hashes[i : i + block]) for i in range(0, size, block)]
    )
    assert root_over(blocks) == root_over(hashes)
    for index in {0, size // 2, size - 1}:
        at, within = divmod(index, block)
        path = [*path_to(within, hashes[at * block : (at + 1) * block]), *path_to(at, blocks)]
        assert root_from(hashes[index], index, size, path) == root_over(hashes)
