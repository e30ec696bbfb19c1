"""The speed, cross-checked against what does not come from the pickup: the vibration's own lines.

A pickup that fails shows a speed that is too low, while the rotor may be above its rated speed. The vibration
knows better: its once-per-turn line goes on. Thresholds are ours.
"""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from ...quantities.finding import Finding, finding_of
from ..phase import PhasedBlocks
from ..spectrum import SpeedFrequencyMap

FloatArray = NDArray[np.float64]

LINE_STANDS_OUT = 8.0
"""Line over the median of the spectrum about it from which it is followed."""

GOES_ON = 1.04
"""Highest frequency of the line over the highest known turning frequency that is worth a word."""

_LOWEST_HZ = 150.0
_ROWS = 512


def speed_findings(spectra: SpeedFrequencyMap, blocks: PhasedBlocks) -> list[Finding]:
    """Return a stop when the vibration says that the rotor turned faster than the pickup says."""
    if spectra.time_s.size < 4:
        return []
    index = np.clip((spectra.time_s / blocks.block_s).astype(int), 0, blocks.speed_rpm.size - 1)
    turning = np.where(blocks.trusted[index], blocks.speed_rpm[index], np.nan) / 60.0
    known = float(np.nanmax(turning, initial=0.0))
    highest = max(_followed_on(spectra, turning), _sweeps(spectra, turning))
    if highest < GOES_ON * known or highest < _LOWEST_HZ:
        return []
    return [
        finding_of(
            "speed.not_followed",
            "block",
            f"The pickup shows {60 * known:,.0f} rpm at most, but the vibration has a line that climbs to "
            f"{highest:,.0f} Hz, {60 * highest:,.0f} rpm if it is once per turn: the rotor was faster than shown.",
            {"known_rpm": 60 * known, "line_hz": highest, "line_rpm": 60 * highest},
        )
    ]


def _followed_on(spectra: SpeedFrequencyMap, turning_hz: FloatArray) -> float:
    """Return how high the once-per-turn line goes on beyond where the pickup lost it, Hz."""
    known = np.isfinite(turning_hz)
    if known.sum() < 3:
        return 0.0
    highest = 0.0
    for last in np.flatnonzero(known[:-1] & ~known[1:]).tolist():
        if last < 2 or not known[last - 2 : last].all():
            continue
        at = float(turning_hz[last])
        step = float(turning_hz[last] - turning_hz[last - 2]) / 2
        if step < 0 or at < _LOWEST_HZ:
            continue
        missed = 0
        for row in range(last + 1, turning_hz.size):
            if known[row] or missed > 1:
                break
            found = _peak(spectra, row, at + step - 0.05 * at, at + 1.5 * step + 0.05 * at)
            if found is None:
                missed += 1
                at += step
                continue
            step = 0.7 * step + 0.3 * (found - at)
            at, missed = found, 0
            highest = max(highest, at)
    return highest


def _sweeps(spectra: SpeedFrequencyMap, turning_hz: FloatArray) -> float:
    """Return the top of a strong line that climbs through the run and is no order of the shown speed, Hz."""
    shown = float(np.nanmax(turning_hz, initial=0.0))
    if shown > 0 and np.ptp(turning_hz[np.isfinite(turning_hz)]) > 0.2 * shown:
        return 0.0  # the shown speed runs up itself: lines above it are its orders
    f = spectra.frequency_hz
    first = int(np.searchsorted(f, _LOWEST_HZ))
    line = np.empty(spectra.time_s.size)
    for start in range(0, line.size, _ROWS):
        rows = spectra.amplitude[start : start + _ROWS, first:].astype(np.float32)
        k = rows.argmax(axis=1)
        usual = np.maximum(np.median(rows, axis=1), 1e-12)
        clear = rows[np.arange(k.size), k] > LINE_STANDS_OUT * usual
        line[start : start + _ROWS] = np.where(clear, f[k + first], np.nan)
    best, start = 0.0, 0
    for i in range(1, line.size + 1):
        climbs = i < line.size and line[i] >= line[i - 1] * 0.99 and line[i] < line[i - 1] * 1.6
        if climbs:
            continue
        if i - start >= 6 and line[i - 1] > 1.5 * line[start]:
            best = max(best, float(line[i - 1]))
        start = i
    return best


def _peak(spectra: SpeedFrequencyMap, row: int, low_hz: float, high_hz: float) -> float | None:
    f, spectrum = spectra.frequency_hz, spectra.amplitude[row].astype(np.float32)
    a, b = np.searchsorted(f, [low_hz, high_hz])
    if b - a < 3 or b >= f.size:
        return None
    k = int(spectrum[a:b].argmax()) + int(a)
    about = float(np.median(spectrum[max(0, a - 40) : b + 40]))
    return float(f[k]) if spectrum[k] > 0.5 * LINE_STANDS_OUT * max(about, 1e-12) else None
