"""A tree of hashes over a list, after RFC 9162 section 2.1 (RFC 6962 before it): one root, a short path to each.

Pure: bytes in, bytes out. Leaves of the ledger's tree are the links of its chain, in order.
"""

from __future__ import annotations

import hashlib
from collections.abc import Sequence

BLOCK = 1024
"""Leaves under one node that can be kept: a power of two, so that it is a node of the tree of any larger size."""

EMPTY = hashlib.sha256(b"").digest()
"""Root over nothing."""


def leaf_hash(leaf: bytes) -> bytes:
    """Return the hash of a leaf."""
    return hashlib.sha256(b"\0" + leaf).digest()


def node_hash(left: bytes, right: bytes) -> bytes:
    """Return the hash of a node over two others."""
    return hashlib.sha256(b"\1" + left + right).digest()


def root_over(hashes: Sequence[bytes]) -> bytes:
    """Return the root over hashes of leaves, or of full blocks with a last one that may be less."""
    if not hashes:
        return EMPTY
    row = list(hashes)
    while len(row) > 1:  # pairs from the left; who is left over goes up as it is
        odd = [row[-1]] if len(row) % 2 else []
        row = [node_hash(row[i], row[i + 1]) for i in range(0, len(row) - 1, 2)] + odd
    return row[0]


def path_to(index: int, hashes: Sequence[bytes]) -> list[bytes]:
    """Return the hashes beside the way from one of them up to the root, the nearest first."""
    path, row = [], list(hashes)
    while len(row) > 1:
        beside = index ^ 1
        if beside < len(row):
            path.append(row[beside])
        odd = [row[-1]] if len(row) % 2 else []
        row = [node_hash(row[i], row[i + 1]) for i in range(0, len(row) - 1, 2)] + odd
        index //= 2
    return path


def root_from(leaf: bytes, index: int, size: int, path: Sequence[bytes]) -> bytes | None:
    """Return the root a leaf's hash leads to, RFC 9162 section 2.1.3.2; None when the path does not fit the size.

    Parameters
    ----------
    leaf : bytes
        Its hash.
    index, size : int
        Its place, from 0, and the number of leaves.
    path : sequence of bytes
        As `path_to` gives it.
    """
    if not 0 <= index < size:
        return None
    fn, sn, r = index, size - 1, leaf
    for p in path:
        if sn == 0:
            return None
        if fn & 1 or fn == sn:
            r = node_hash(p, r)
            while not fn & 1 and fn:
                fn, sn = fn >> 1, sn >> 1
        else:
            r = node_hash(r, p)
        fn, sn = fn >> 1, sn >> 1
    return r if sn == 0 else None
