"""Does a channel run into a stop, at full scale or far below it?

A stop anywhere in the chain (sensor, amplifier, converter; hard or soft; on one side) flattens the tops. Then the
extremes lie below the amplitude of the turning itself, which no sum of a sine and anything independent of it
does; samples crowd at the extreme; and the third harmonic stands against the first in every cell, whatever the
phase of the rotor does. From the Fourier series of a clipped cosine; thresholds are ours.
"""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from ...quantities.finding import Finding, finding_of
from ...quantities.said import Said
from .cells import Cells

CREST = 0.965
"""Extreme over the once-per-turn amplitude: 1 for a pure sine, below it for flattened tops."""

CROWDED = 0.125
"""Share of samples within 3 % of the swing of an extreme: 0.11 for a pure sine, less with anything added."""

THIRD, AGAINST, CREST_SOFT = 0.06, 0.92, 1.06
"""Third harmonic over the first, how surely against it, and the extreme: together a soft stop."""

NEAR, THIRD_NEAR = 0.99, 0.045
"""An extreme just under the once-per-turn amplitude is a soft stop where the third harmonic is so much against."""

ABOVE, THIRD_AGAINST = 1.0, 0.05
"""Anything that has nothing to do with the turning lifts the highest value above what the first orders make
together by at least its own rms: less, with the third harmonic against the first, is a soft stop under noise."""

TOPS, REST = 0.6, 0.03
"""Share of the largest once-per-turn amplitude where tops are looked at so, and of it that the rest must have."""

LOOSE, RISES = 0.09, 1.5
"""Share of samples near the extremes, and their rise above the orders in rms of the rest, of tops that are free."""

LEAST_CELLS = 3
SAME_SHARE = 0.02
"""Share of groups whose largest value is the very same one, at full scale: a converter's end, however short."""

FULL_SHARE = 0.002
"""Share of groups at full scale from which a word is due."""


def clipping_findings(
    cells: Cells,
    extremes: NDArray[np.float64],
    *,
    names: list[str],
    full_scale_g: list[float | None],
) -> list[Finding]:
    """Return which channels are clipped.

    Parameters
    ----------
    cells : Cells
    extremes : ndarray, shape (channels, groups, 4)
        Highest and lowest value, g, and the shares of samples near each (`Track.extremes`).
    full_scale_g : list of float or None
        Largest value a channel can give; None when it has none.
    """
    found = []
    for i, name in enumerate(names):
        full = full_scale_g[i]
        largest = np.abs(extremes[i, :, :2]).max(axis=1)
        at_full = largest >= 0.999 * full if full else np.zeros(largest.size, bool)
        share = float(at_full.mean()) if at_full.size else 0.0
        # an archive may be scaled so that its highest sample is full scale: tops must be flat there too
        crowd = float(np.median(extremes[i, at_full, 2:].max(axis=1))) if share > 0 else 0.0
        same = int((largest == largest.max()).sum()) if share > 0 else 0
        stopped = same >= LEAST_CELLS and same > SAME_SHARE * largest.size
        if share > FULL_SHARE and (crowd > CROWDED or stopped):
            found.append(_full(name, share))
            continue
        flat = flattened(cells, i, extremes[i])
        if flat is not None:
            found.append(_flat(name, *flat))
    return found


def flattened(
    cells: Cells, channel: int, extremes: NDArray[np.float64]
) -> tuple[float, float] | None:
    """Return the level at which tops are flattened, g, and the speed it begins at; None when they are not."""
    n_groups, n = extremes.shape[0], cells.time_s.size
    if n == 0 or n_groups < n:
        return None
    per = n_groups // n
    shaped = extremes[: n * per].reshape(n, per, 4)
    line = np.abs(cells.orders[channel, :, 1])
    turning = cells.faster_than(0.15) & (line > 0.02)
    if turning.sum() < LEAST_CELLS:
        return None
    loud = turning & (line > 0.4 * line[turning].max())
    high = np.median(shaped[:, :, 0], axis=1) - cells.mean[channel]
    low = cells.mean[channel] - np.median(shaped[:, :, 1], axis=1)
    extreme = np.minimum(high, low)
    crest = extreme / np.maximum(line, 1e-12)
    crowd = np.median(shaped[:, :, 2:], axis=1).max(axis=1)
    flat = loud & ((crest < CREST) | ((crowd > CROWDED) & (crest < 3.0)))
    third = _third(cells.orders[channel])
    if flat.sum() < LEAST_CELLS:
        flat = _soft(third, loud, crest)
    if flat.sum() < LEAST_CELLS:
        near = loud & (crest < NEAR)
        flat = near & (near.any() and -float(third[near].real.mean()) > THIRD_NEAR)
    tops = loud & (line > TOPS * line[turning].max()) & cells.apart
    swing = np.stack([high, low])
    if flat.sum() < LEAST_CELLS:
        flat = _pressed(cells, channel, swing, third, tops)
    elif float(np.median(crowd[flat])) < LOOSE and _free(cells, channel, swing, tops):
        return None
    if flat.sum() < LEAST_CELLS:
        return None
    return float(np.median(extreme[flat])), float(cells.speed_rpm[flat].min())


def _third(orders: NDArray[np.complex128]) -> NDArray[np.complex128]:
    """Return the third harmonic over the first, by how it stands to the first's tops: negative flattens them."""
    first = np.maximum(np.abs(orders[:, 1]), 1e-12)
    return np.asarray(orders[:, 3] * np.conj(orders[:, 1]) ** 3 / first**4)


def _soft(
    third: NDArray[np.complex128], loud: NDArray[np.bool_], crest: NDArray[np.float64]
) -> NDArray[np.bool_]:
    size = np.abs(third[loud])
    against = -float(third[loud].real.sum()) / max(float(size.sum()), 1e-12)
    if against < AGAINST or float(np.median(size)) < THIRD:
        return np.zeros(loud.size, bool)
    return np.asarray(loud & (np.abs(third) > THIRD) & (crest < CREST_SOFT))


def _pressed(
    cells: Cells,
    channel: int,
    extremes: NDArray[np.float64],
    third: NDArray[np.complex128],
    tops: NDArray[np.bool_],
) -> NDArray[np.bool_]:
    """Return the cells whose highest and lowest values, (2, n), leave no room for what is not of the turning."""
    seen = tops & (cells.rest[channel] > REST * np.abs(cells.orders[channel, :, 1]))
    if not seen.any() or -float(third[seen].real.mean()) < THIRD_AGAINST:
        return np.zeros(seen.size, bool)
    if float(np.median(_above(cells, channel, extremes, seen))) > ABOVE:
        return np.zeros(seen.size, bool)
    return seen


def _free(
    cells: Cells, channel: int, extremes: NDArray[np.float64], tops: NDArray[np.bool_]
) -> bool:
    """Whether tops rise as they should: a rotor's own third order may stand against its first."""
    rises = _above(cells, channel, extremes, tops)
    return bool(rises.size) and float(np.median(rises)) > RISES


def _above(
    cells: Cells, channel: int, extremes: NDArray[np.float64], which: NDArray[np.bool_]
) -> NDArray[np.float64]:
    """Return by how much the extremes, (2, n), of some cells are above what the orders make, in rms of the rest."""
    orders, rest = cells.orders[channel, which], cells.rest[channel, which]
    half = 0.5 * np.abs(orders[:, 0]) ** 2  # counted among the rest in the cells
    rest = np.sqrt(np.maximum(rest**2 - half, 1e-24))
    angle = 4 * np.pi * np.arange(256) / 256  # two turns: the half order closes
    wave = (orders @ np.exp(1j * np.outer([0.5, 1, 2, 3], angle))).real
    made = np.stack([wave.max(axis=1), -wave.min(axis=1)])
    return np.asarray((extremes[:, which] - made).min(axis=0) / rest)


def _full(name: str, share: float) -> Finding:
    return finding_of(
        "sensor.clipped",
        "block",
        f'Channel "{name}" ran into its full scale in {100 * share:.1f} % of the spin.',
        {"share": share},
    )


def _flat(name: str, level_g: float, speed_rpm: float) -> Finding:
    return finding_of(
        "sensor.clipped",
        "block",
        f'Channel "{name}" is cut off at about {level_g:.2f} g, from {speed_rpm:,.0f} rpm on: '
        "the true vibration is higher than it reads.",
        {"level_g": level_g, "speed_rpm": speed_rpm},
        do=Said("do.sensor.cut_off"),
    )
