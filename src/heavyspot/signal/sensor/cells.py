"""A run in cells of a twentieth of a second: how fast, how loud, and how much of it follows the turns.

What the checks of sensors look at: cheap sums of blocks that the tracker has made anyway.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from ..phase import PhasedBlocks

CELL_S = 0.05

SLOWEST_APART_RPM = 24_000.0
"""Speed from which a block of some 2.5 ms tells the orders from hum and drift."""

FloatArray = NDArray[np.float64]


@dataclass(frozen=True)
class Cells:
    """Sums over cells of consecutive blocks.

    Attributes
    ----------
    cell_s : float
    time_s : ndarray, shape (n,)
        Middle of each cell.
    speed_rpm : ndarray, shape (n,)
        NaN where the reference could not be followed in all of the cell.
    orders : ndarray, shape (channels, n, 4), complex128
        Mean vectors at 1/2, 1, 2 and 3 times the turning frequency; 0 where the speed is unknown.
    scatter : ndarray, shape (channels, n, 4)
        Standard uncertainty of each of these means, from its blocks.
    rms : ndarray, shape (channels, n)
        Without the steady part.
    rest : ndarray, shape (channels, n)
        Rms of what is in none of the four orders.
    lowest_block : ndarray, shape (channels, n)
        Rms of the quietest block of each cell.
    mean : ndarray, shape (channels, n)
    """

    cell_s: float
    time_s: FloatArray
    speed_rpm: FloatArray
    orders: NDArray[np.complex128]
    scatter: FloatArray
    rms: FloatArray
    rest: FloatArray
    lowest_block: FloatArray
    mean: FloatArray

    @property
    def apart(self) -> NDArray[np.bool_]:
        """Which cells are fast enough for their orders to be told from hum and drift."""
        with np.errstate(invalid="ignore"):
            return np.asarray(self.speed_rpm > SLOWEST_APART_RPM)

    @property
    def top_rpm(self) -> float:
        """The highest speed; 0 when none is known."""
        known = self.speed_rpm[np.isfinite(self.speed_rpm)]
        return float(known.max()) if known.size else 0.0

    def faster_than(self, share: float) -> NDArray[np.bool_]:
        """Return which cells turn faster than a share of the highest speed."""
        with np.errstate(invalid="ignore"):
            return np.asarray(self.speed_rpm > share * max(self.top_rpm, 1.0))


def cells_of(blocks: PhasedBlocks) -> Cells:
    """Return the cells of a run; an incomplete last one is dropped."""
    per = max(4, round(CELL_S / blocks.block_s))
    n = blocks.trusted.size // per
    known: NDArray[np.bool_] = np.asarray(blocks.trusted[: n * per].reshape(n, per).all(axis=1))
    speed: FloatArray = np.where(
        known, blocks.speed_rpm[: n * per].reshape(n, per).mean(axis=1), np.nan
    )
    sums = [
        _sums(blocks, slice(i, min(i + _CELLS, n)), per, known, speed)
        for i in range(0, max(n, 1), _CELLS)
    ]
    orders, scatter, rms, rest, lowest, mean = (
        np.concatenate(each, axis=1) for each in zip(*sums, strict=True)
    )
    return Cells(
        cell_s=per * blocks.block_s,
        time_s=np.asarray((np.arange(n) + 0.5) * per * blocks.block_s, dtype=np.float64),
        speed_rpm=speed,
        orders=orders,
        scatter=scatter,
        rms=rms,
        rest=rest,
        lowest_block=lowest,
        mean=mean,
    )


_CELLS = 4096
"""Cells made at a time: half an hour of them at once would be a copy of all the blocks."""


def _sums(
    blocks: PhasedBlocks, mine: slice, per: int, known: NDArray[np.bool_], speed: FloatArray
) -> tuple[NDArray[np.complex128], FloatArray, FloatArray, FloatArray, FloatArray, FloatArray]:
    """Return orders, scatter, rms, rest, quietest block and mean of some cells, (channels, cells, ...)."""
    channels, count = blocks.vectors.shape[0], mine.stop - mine.start
    span = slice(mine.start * per, mine.stop * per)
    known, speed = known[mine], speed[mine]
    vectors = blocks.vectors[:, span].reshape(channels, count, per, -1)
    orders = np.where(known[:, None], vectors.mean(axis=2), 0.0).astype(np.complex128)
    off = vectors - orders[:, :, None]
    scatter = np.sqrt((np.abs(off) ** 2).sum(axis=2) / (2 * per * (per - 1)))
    mean = blocks.mean[:, span].reshape(channels, count, per).astype(float)
    power = blocks.power[:, span].reshape(channels, count, per).astype(float)
    varying = np.maximum(power - mean**2, 0.0)
    # not the half order: at low speeds the once-per-turn leaks into it
    in_orders = 0.5 * (np.abs(vectors[..., 1:]) ** 2).sum(axis=3).mean(axis=2)
    rms2 = varying.mean(axis=2)
    apart = speed > SLOWEST_APART_RPM  # slower, the orders are not apart from what is steady
    rest2 = np.maximum(rms2 - np.where(apart, in_orders, 0.0), 0.0)
    return (
        orders,
        np.where(known[:, None], scatter, np.inf),
        np.sqrt(rms2),
        np.sqrt(rest2),
        np.sqrt(varying.min(axis=2)),
        mean.mean(axis=2),
    )
