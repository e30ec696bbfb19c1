"""Is a vibration channel alive? Only what it shows counts, never the lack of a sign against it.

A sensor that is mounted and working hears more as the machine turns faster, and hears the turning itself.
Each cell of a run must show one of the two: a level that stands above the channel's own quietest moment, or a
once-per-turn line that stands above its own scatter. What shows neither may be a perfect rotor or a broken
wire; no pass may rest on it. Thresholds are ours: several times what healthy channels show at worst on rigs of
three different makes, and below what dead ones show (`make prove`).
"""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from ...quantities.finding import Finding, finding_of
from ...quantities.said import Said
from .cells import Cells

RISES = 1.4
"""Level over the quietest level from which a channel hears the machine run."""

FALLS = 0.25
"""Share of the level at lower speeds under which the rest of a run's level does not fall."""

STANDS_OUT = 8.0
"""A line over its standard uncertainty from which it is no chance."""

DEAD_SHARE, SILENT_S = 0.8, 0.09
"""Share of the fast cells without life that makes a channel dead; time without life that makes a question."""

DROP, DROPS_SHARE = 0.1, 0.02
"""Rms of a block over that of its cell that no machine falls to; share of cells with one that is too much."""

DEAD_G = 1e-4
"""Rms below which an acceleration channel is taken as not connected, however it changes."""

GROWS_AS_PICKUP, PICKUP_SCATTER, PICKUP_LINE = 0.1, 0.03, 0.6
"""Exponent's distance from one, scatter, and line's share of the level: those of a pickup's signal alone."""

_FAST, _SPEED_BINS = 0.25, 20


def liveness_findings(cells: Cells, names: list[str]) -> list[Finding]:
    """Return what each channel's silence says.

    Parameters
    ----------
    cells : Cells
        In g.
    names : list of str
        Of the channels.
    """
    return [f for i, name in enumerate(names) for f in _of_channel(cells, i, name)]


def alive_cells(cells: Cells, channel: int) -> NDArray[np.bool_]:
    """Return which cells show life, shape (n,)."""
    rest = cells.rest[channel]
    quiet = max(float(np.percentile(rest, 2)), 0.25 * DEAD_G) if rest.size else DEAD_G
    hears = (rest > RISES * quiet) & (rest > FALLS * _heard_slower(cells, rest))
    lines = np.abs(cells.orders[channel, :, 1:]) > STANDS_OUT * cells.scatter[channel, :, 1:]
    return np.asarray(hears | lines.any(axis=1))


def _heard_slower(cells: Cells, rest: NDArray[np.float64]) -> NDArray[np.float64]:
    """Return the loudest usual level at speeds up to each cell's own; 0 where the speed is unknown."""
    top = max(cells.top_rpm, 1.0)
    known = cells.apart
    bin_ = np.where(known, cells.speed_rpm / top * _SPEED_BINS, 0).astype(int)
    usual = np.zeros(_SPEED_BINS + 1)
    for k in range(1, _SPEED_BINS + 1):
        inside = known & (bin_ == k)
        usual[k] = float(np.percentile(rest[inside], 75)) if inside.any() else 0.0
    return np.where(known, np.maximum.accumulate(usual)[bin_], 0.0)


def _of_channel(cells: Cells, i: int, name: str) -> list[Finding]:
    rms = cells.rms[i]
    usual = float(np.median(rms)) if rms.size else 0.0
    fast = cells.faster_than(_FAST)
    if usual < DEAD_G or not fast.any():
        return [] if usual >= DEAD_G and not _steady(rms) else [_dead(name, usual)]
    alive = alive_cells(cells, i)
    silent = fast & ~alive
    share = float(silent.sum() / fast.sum())
    if share > DEAD_SHARE:
        return [_dead(name, usual)]
    seconds = _longest(silent) * cells.cell_s
    if seconds > SILENT_S:
        return [_silent(name, cells, silent, seconds)]
    drops = fast & (cells.lowest_block[i] < DROP * rms)
    if drops.sum() > DROPS_SHARE * fast.sum():
        return [_drops(name, float(drops.sum() / fast.sum()))]
    return []


def _steady(rms: NDArray[np.float64]) -> bool:
    """Whether a channel reads the same from beginning to end (where no speed is known)."""
    low, high = np.percentile(rms, [5, 95])
    return bool(high < RISES * low)


def _longest(state: NDArray[np.bool_]) -> int:
    """Return the length of the longest stretch in which `state` holds."""
    ends = np.flatnonzero(np.diff(np.concatenate([[0], state.astype(np.int8), [0]])))
    return int((ends[1::2] - ends[::2]).max()) if ends.size else 0


def _dead(name: str, rms_g: float) -> Finding:
    return finding_of(
        "sensor.dead",
        "block",
        f'Channel "{name}" hears nothing of the machine: {1e3 * rms_g:.3g} mg rms at rest and at speed alike.',
        {"rms_g": rms_g},
    )


def _silent(name: str, cells: Cells, silent: NDArray[np.bool_], seconds: float) -> Finding:
    speeds = cells.speed_rpm[silent]
    low, high = float(speeds.min()), float(speeds.max())
    return finding_of(
        "sensor.silent",
        "block",
        f'Channel "{name}" falls silent for {seconds:.2f} s between {low:,.0f} and {high:,.0f} rpm.',
        {"duration_s": seconds, "from_rpm": low, "to_rpm": high},
    )


def _drops(name: str, share: float) -> Finding:
    return finding_of(
        "sensor.loose",
        "block",
        f'Channel "{name}" drops out for thousandths of a second, again and again.',
        {"share_of_cells": share},
        do=Said("do.sensor.drops"),
    )


def pickup_findings(cells: Cells, names: list[str], swing: NDArray[np.float64]) -> list[Finding]:
    """Return which vibration channel carries a pickup's signal instead of vibration.

    A magnetised nut's signal grows exactly with speed and is nearly all once per turn; a pulse pickup's
    swings between the same two levels at any speed. No housing does either.

    Parameters
    ----------
    swing : ndarray, shape (channels, groups, 2)
        Each group's swing, and its variance over the product of its distances from mean to extremes: 1 for
        a signal of two levels, 1/2 for a sine.
    """
    found = []
    for i, name in enumerate(names):
        if _grows_as_pickup(cells, i) or _stays_as_pulses(cells, i) or _two_levels(swing[i]):
            found.append(
                finding_of(
                    "sensor.swapped",
                    "block",
                    f'Channel "{name}" carries the signal of a pickup, not vibration: the channels seem swapped.',
                )
            )
    return found


def _grows_as_pickup(cells: Cells, i: int) -> bool:
    fast = cells.faster_than(0.3)
    line = np.abs(cells.orders[i, fast, 1])
    if fast.sum() < 20 or not (line > 0).all():
        return False
    if float(np.median(line / np.maximum(cells.rms[i, fast], 1e-12))) < PICKUP_LINE:
        return False
    x, y = np.log(cells.speed_rpm[fast]), np.log(line)
    if np.ptp(x) < 0.5:
        return False
    slope, start = np.polyfit(x, y, 1)
    off = float(np.std(y - slope * x - start))
    noise = float(np.median(cells.scatter[i, fast, 1] / line))
    return abs(slope - 1.0) < GROWS_AS_PICKUP and off < PICKUP_SCATTER + 2 * noise


def _stays_as_pulses(cells: Cells, i: int) -> bool:
    """Whether once and twice per turn are the same at all speeds, as a pulse pickup's."""
    fast = cells.faster_than(0.3)
    if fast.sum() < 20 or np.ptp(np.log(cells.speed_rpm[fast])) < 0.5:
        return False
    for order in (1, 2):
        line = np.abs(cells.orders[i, fast, order])
        noise = float(np.median(cells.scatter[i, fast, order]))
        usual = float(np.median(line))
        if (
            usual <= max(4 * noise, 0.25 * DEAD_G)
            or float(np.std(line)) > PICKUP_SCATTER * usual + 2 * noise
        ):
            return False
    return True


def _two_levels(swing: NDArray[np.float64]) -> bool:
    size, levels = swing[:, 0], swing[:, 1]
    if size.size < 40:
        return False
    full = float(np.percentile(size, 90))
    there = size > 0.8 * full
    between = (size > 0.15 * full) & ~there
    return bool(
        there.mean() > 0.3
        and between.sum() < 0.08 * there.sum()
        and float(np.median(levels[there])) > 0.62
    )
