"""Demodulation at whole and half orders, in two levels, at the cost of a small matrix product.

The vector of order ``k`` over a stretch of samples is ``2/N sum x_n exp(-j k theta_n)``. Taking a
sine and cosine for every sample is what makes this slow. Within 8 or 16 samples the speed is constant
to any accuracy a rig needs, so the inner sum uses one table of factors for a group of blocks (a
batched matrix product), and only its result, many times fewer numbers, is turned by the exact
phase at the middle of each stretch. This is the windowed Fourier coefficient at a known frequency,
as in any order-tracking text; only the order of the sums is ours.
"""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

ORDERS = (0.5, 1.0, 2.0, 3.0)
"""Orders followed, in this order along the last axis of every result."""


def block_vectors(
    samples: NDArray[np.float32],
    *,
    stretch: int,
    stretches_per_block: int,
    group: int,
    turns: NDArray[np.float64],
    orders: tuple[float, ...] = ORDERS,
) -> NDArray[np.complex64]:
    """Return the three weighted sums of each block that `BlockJoiner` puts together.

    Parameters
    ----------
    samples : ndarray, shape (n_blocks * block,), float32
        One channel; ``block = stretches_per_block * stretch``.
    stretch : int
        Samples in the inner sum.
    stretches_per_block : int
    group : int
        Blocks that share one frequency in the inner sum; divides the number of blocks.
    turns : ndarray, shape (n_blocks + 1,)
        Turn count at the block edges.
    orders : tuple of float
        Any of 0.5, 1, 2, 3.

    Returns
    -------
    ndarray, shape (3, n_blocks, len(orders)), complex64
        ``2/N sum w x exp(-j order theta)`` for the three pieces ``w`` of the quadratic spline.
    """
    n_blocks = turns.size - 1
    n_groups = n_blocks // group
    block = stretch * stretches_per_block
    per_sample = (np.diff(turns) / block).reshape(n_groups, group).mean(axis=1)
    offsets = np.arange(stretch) - (stretch - 1) / 2
    table = _powers(np.pi * (per_sample[:, None] * offsets).astype(np.float32), orders)
    columns = np.empty((n_groups, stretch, len(orders)), np.complex64)
    for i, factor in enumerate(table):
        columns[:, :, i] = factor
    inner = np.matmul(
        samples.reshape(n_groups, group * stretches_per_block, stretch), columns.view(np.float32)
    ).view(np.complex64)
    inner = inner.reshape(n_blocks, stretches_per_block, len(orders))

    middle = (np.arange(stretches_per_block) + 0.5) / stretches_per_block
    at = (turns[:-1] % 2.0)[:, None] + np.diff(turns)[:, None] * middle
    weights = (_spline_pieces(middle) * (2.0 / block)).astype(np.complex64)
    out = np.empty((3, n_blocks, len(orders)), np.complex64)
    for i, factor in enumerate(_powers((np.pi * at).astype(np.float32), orders)):
        out[:, :, i] = weights @ (inner[:, :, i] * factor).T
    return out


class BlockJoiner:
    """Joins the pieces of consecutive blocks into blocks weighted by a quadratic spline over three.

    A plain mean over a block would fold the image at twice the turning frequency onto the vector
    wherever that is near the block rate (2 % there); the spline's response has a triple zero at
    every multiple of the block rate and leaves 0.002 %. The first and the last block, where a
    neighbour is missing, are their own plain mean.
    """

    def __init__(self) -> None:
        self._tail: NDArray[np.complex64] | None = None
        self._first = True

    def add(self, pieces: NDArray[np.complex64]) -> NDArray[np.complex64]:
        """Return the blocks that are complete now, one behind.

        Parameters
        ----------
        pieces : ndarray, shape (..., 3, n, orders)
            From `block_vectors`, in order.

        Returns
        -------
        ndarray, shape (..., m, orders)
        """
        joined = pieces if self._tail is None else np.concatenate([self._tail, pieces], axis=-2)
        out = joined[..., 0, :-2, :] + joined[..., 1, 1:-1, :] + joined[..., 2, 2:, :]
        if self._first:
            out = np.concatenate([joined[..., :1, :].sum(axis=-3), out], axis=-2)
            self._first = False
        self._tail = joined[..., -2:, :].copy()
        return out

    def end(self) -> NDArray[np.complex64] | None:
        """Return the last block, (..., 1, orders); None when there was none."""
        return None if self._tail is None else self._tail[..., -1:, :].sum(axis=-3)


def _spline_pieces(u: NDArray[np.float64]) -> NDArray[np.float64]:
    """Return the uniform quadratic B-spline on its three intervals, (3, n); the sum is 1 each."""
    return np.stack([0.5 * u**2, 0.5 + u * (1 - u), 0.5 * (1 - u) ** 2])


def _powers(
    half_angle: NDArray[np.float32], orders: tuple[float, ...]
) -> list[NDArray[np.complex64]]:
    """Return ``exp(-j order theta)`` for each order, given ``theta / 2`` in radians."""
    half = np.empty(half_angle.shape, np.complex64)
    np.cos(half_angle, out=half.real)
    np.sin(-half_angle, out=half.imag)
    known = {0.5: half, 1.0: half * half}
    if any(order > 1 for order in orders):
        known[2.0] = known[1.0] * known[1.0]
        known[3.0] = known[2.0] * known[1.0]
    return [known[order] for order in orders]
