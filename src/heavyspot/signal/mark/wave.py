"""What the shape of the pickup's own wave says: its kind, its polarity, uneven marks, mains only.

Thresholds are ours unless a source is named; each finding carries the numbers it rests on.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from ...quantities.finding import Finding, finding_of
from ...quantities.said import Said
from ..phase import CLEAR_RAD, PhasedBlocks
from ..tracker import WINDOW_BLOCKS, Track

FloatArray = NDArray[np.float64]

UPPER = 0.53
"""Share of the turn at the upper level from which a pulse is upside down; near a half it cannot be told."""

TWO_LEVELS, NARROW = 0.68, 2.5
"""Two levels rather than a wave (1/2 for a sine); peak over rms of narrow pulses (1.41 for a sine)."""

TWO_LEVELS_LOST = 0.62
"""The same where the reference could not be followed: noise has 0.1."""

UNEVEN_SHARE = 0.15
"""Share of marks at uneven intervals from which there is more than one mark a turn."""

MAINS_RPM = (3000.0, 3600.0, 6000.0, 7200.0, 9000.0, 10_800.0)


@dataclass(frozen=True)
class Wave:
    """The pickup's wave in windows of about 20 ms, at speed only; each of shape (n,).

    Attributes
    ----------
    speed_rpm : ndarray
    swing : ndarray
        From lowest to highest.
    upper : ndarray
        Share of the turn at the upper level, for a signal of two levels.
    levels : ndarray
        Variance over the product of the distances from mean to extremes: 1 for two levels, 1/2 for a sine.
    peak : ndarray
        Farther extreme over rms, both from the mean.
    """

    speed_rpm: FloatArray
    swing: FloatArray
    upper: FloatArray
    levels: FloatArray
    peak: FloatArray


def wave_of(track: Track, blocks: PhasedBlocks, *, above: float = 0.3) -> Wave:
    """Return the wave where the rotor turns faster than a share of its highest speed."""
    n = min(track.reference_extremes.shape[0], track.reference_mean.size // WINDOW_BLOCKS)
    speed = _mean_of(blocks.speed_rpm, n)
    with np.errstate(invalid="ignore"):
        fast = speed > above * np.nanmax(speed, initial=0.0)
    return _wave_where(track, fast, speed)


def _mean_of(values: NDArray[np.float32] | FloatArray, n: int) -> FloatArray:
    whole = values[: n * WINDOW_BLOCKS].astype(float)
    return np.asarray(whole.reshape(n, WINDOW_BLOCKS).mean(axis=1))


def _wave_where(track: Track, where: NDArray[np.bool_], speed_rpm: FloatArray) -> Wave:
    n = where.size
    low, high = track.reference_extremes[:n].T
    mean = _mean_of(track.reference_mean, n)
    variance = np.maximum(_mean_of(track.reference_power, n) - mean**2, 1e-30)
    up, down = np.maximum(high - mean, 1e-15), np.maximum(mean - low, 1e-15)
    return Wave(
        speed_rpm[where],
        (high - low)[where],
        (down / (up + down))[where],
        (variance / (up * down))[where],
        (np.maximum(up, down) / np.sqrt(variance))[where],
    )


def pulses_not_followed(track: Track) -> list[Finding]:
    """Return a word on a signal that could not be followed as a magnet's wave, though its marks are regular."""
    n = min(track.reference_extremes.shape[0], track.reference_mean.size // WINDOW_BLOCKS)
    if not track.magnetic or n < 20:
        return []
    low, high = track.reference_extremes[:n].T
    there = (high - low) > 0.5 * np.percentile(high - low, 95)
    if not there.any():
        return []  # silent
    wave = _wave_where(track, there, np.zeros(n))
    levels, peak = float(np.median(wave.levels)), float(np.median(wave.peak))
    regular = track.uneven.size < 0.5 * track.counts.edges
    pulses = levels > TWO_LEVELS_LOST or (regular and peak > NARROW)
    return [_other_kind("magnetic", levels, peak)] if pulses else []


def wave_findings(track: Track, blocks: PhasedBlocks) -> list[Finding]:
    """Return what the wave says, the gravest first."""
    wave = wave_of(track, blocks)
    if wave.speed_rpm.size < 5:
        return []
    found = _only_mains(blocks)
    if track.pulses_per_turn > 1:
        return found  # a toothed wheel has no one mark whose place or polarity could be wrong
    found += [*_uneven(track, blocks), *_kind(track, blocks, wave)]
    return [*found, *_polarity(track, wave)]


def _only_mains(blocks: PhasedBlocks) -> list[Finding]:
    speed = blocks.speed_rpm[blocks.trusted]
    if speed.size * blocks.block_s < 0.8:
        return []
    low, usual, high = np.percentile(speed, [10, 50, 90])
    near = min(abs(usual / m - 1) for m in MAINS_RPM)
    if near > 0.02 or high - low > 0.05 * usual:
        return []
    return [
        finding_of(
            "reference.lost",
            "block",
            f"The pickup carries mains hum ({usual / 60:.1f} Hz) and nothing that turns; the speed is not known.",
            {"frequency_hz": float(usual / 60)},
            do=Said("do.reference.lost_in_hum"),
        )
    ]


def _uneven(track: Track, blocks: PhasedBlocks) -> list[Finding]:
    with np.errstate(invalid="ignore"):
        fast = blocks.trusted & (blocks.speed_rpm > 0.3 * np.nanmax(blocks.speed_rpm, initial=0.0))
    turns = float(blocks.speed_rpm[fast].sum() / 60 * blocks.block_s)
    at = np.clip((track.uneven / track.block).astype(int), 0, fast.size - 1)
    uneven = float(fast[at].sum())
    if turns < 50 or uneven < UNEVEN_SHARE * turns:
        return []
    return [
        finding_of(
            "reference.irregular",
            "block",
            f"{100 * min(uneven / turns, 1.0):.0f} % of the marks come at uneven intervals: more passes in a turn "
            "than the one mark.",
            {"uneven": uneven, "turns": turns},
        )
    ]


def clear_mark(blocks: PhasedBlocks) -> bool:
    """Whether the pickup's fundamental is steady, however far from a sine its wave is."""
    with np.errstate(invalid="ignore"):
        fast = blocks.trusted & (blocks.speed_rpm > 0.3 * np.nanmax(blocks.speed_rpm, initial=0.0))
    if not fast.any():
        return False
    return float(np.median(blocks.jitter_rad2[fast])) < CLEAR_RAD**2


def _kind(track: Track, blocks: PhasedBlocks, wave: Wave) -> list[Finding]:
    levels, peak = float(np.median(wave.levels)), float(np.median(wave.peak))
    if track.magnetic:
        if not (clear_mark(blocks) and (levels > TWO_LEVELS or peak > NARROW)):
            return []
    else:
        ratio = np.log(wave.speed_rpm.max() / wave.speed_rpm.min())
        if ratio < 0.5 or not 0.4 < levels < 0.58 or peak > 1.7:
            return []
        slope = float(
            np.polyfit(np.log(wave.speed_rpm), np.log(np.maximum(wave.swing, 1e-15)), 1)[0]
        )
        if not 0.7 < slope < 1.3:
            return []
    return [_other_kind("magnetic" if track.magnetic else "pulse", levels, peak)]


def _other_kind(taken: str, levels: float, peak: float) -> Finding:
    if taken == "magnetic":
        text, other = "looks like pulses, not like the wave of a magnetised nut", "pulse"
    else:
        text, other = (
            "is a wave that grows with speed, as a magnetised nut's, not pulses",
            "magnetic",
        )
    return finding_of(
        "reference.kind",
        "block",
        f"The pickup's signal {text}: its mark is elsewhere than taken.",
        {"levels": levels, "peak_over_rms": peak},
        do=Said("do.reference.kind", {"kind": other}),
    )


def _polarity(track: Track, wave: Wave) -> list[Finding]:
    """A pulse that is high for most of the turn has its leading edge the other way."""
    if track.magnetic:
        return []
    upside_down = float(np.mean(wave.upper > UPPER))
    upright = float(np.mean(wave.upper < 1 - UPPER))
    if upside_down < 0.05:
        return []
    share = float(np.median(wave.upper[wave.upper > UPPER]))
    if upright > 0.05:
        return [flipped({"share_high": share, "share_of_run": upside_down})]
    return [
        finding_of(
            "reference.polarity",
            "block",
            f"The pulse signal is at its upper level for {100 * share:.0f} % of the turn.",
            {"share_high": share},
        )
    ]


def flipped(evidence: dict[str, float]) -> Finding:
    """Return the finding of a polarity that changed during the spin."""
    return finding_of(
        "reference.flipped",
        "block",
        "The pickup's polarity changed during the spin: the mark is at one angle before and another after.",
        evidence,
    )
