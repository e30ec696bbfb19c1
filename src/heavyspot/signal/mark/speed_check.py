"""The speed, cross-checked against what does not come from the pickup: the vibration's own lines, and the mains.

A pickup that fails shows a speed that is too low, while the rotor may be above its rated speed. The vibration
knows better: its once-per-turn line goes on. And a file whose sample rate is written down wrong shows the mains
at a frequency no grid has. Thresholds are ours.
"""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from ...quantities.finding import Finding, finding_of
from ..phase import PhasedBlocks
from ..spectrum import SpeedFrequencyMap
from ..tracker import Track

FloatArray = NDArray[np.float64]

LINE_STANDS_OUT = 8.0
"""Line over the median of the spectrum about it from which it is followed."""

GOES_ON = 1.04
"""Highest frequency of the line over the highest known turning frequency that is worth a word."""

GRID_HZ, GRID_OFF = (50.0, 60.0), 0.015
"""Mains; grids are held to a tenth of a per cent, so a line farther off is a wrong sample rate."""

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


def rate_findings(track: Track, blocks: PhasedBlocks) -> list[Finding]:
    """Return a stop when the mains stands at a frequency that no grid has: the sample rate is wrong.

    Looked for while the rotor stands, before it is first followed or after it is last.
    """
    followed = np.flatnonzero(blocks.trusted)
    if followed.size == 0:
        return []
    margin = round(0.2 / track.block_s)
    best: tuple[float, float] = (0.0, 0.0)
    for part in (slice(0, max(followed[0] - margin, 0)), slice(followed[-1] + margin, None)):
        # the pickup's wire only: a steady tone of the machine would fold onto these means
        best = max(best, _line(track.reference_mean[part].astype(float), track.block_s))
    clear, hz = best
    if clear < 10.0 or any(abs(hz / g - 1) < GRID_OFF for g in (*GRID_HZ, 100.0, 120.0)):
        return []
    factor = min((hz / g for g in GRID_HZ), key=lambda r: abs(np.log(r)))
    return [
        finding_of(
            "recording.rate",
            "block",
            f"The mains hum stands at {hz:.1f} Hz in this recording, which no grid has: its sample rate is "
            f"likely {track.sample_rate_hz / factor:,.0f} Hz, not {track.sample_rate_hz:,.0f}.",
            {"line_hz": hz, "factor": factor},
        )
    ]


def _line(values: FloatArray, step_s: float) -> tuple[float, float]:
    """Return how clearly a line between 20 and 90 Hz stands out, and its frequency."""
    half = values.size // 2
    if values.size * step_s < 0.4:
        return 0.0, 0.0
    (first, one), (second, two) = (
        _strongest(values[:half], step_s),
        _strongest(values[half:], step_s),
    )
    # a rotor that begins to turn passes through; a line of the mains stays
    if min(first, second) < 5.0 or abs(one - two) > 2.0:
        return 0.0, 0.0
    return _strongest(values, step_s)


def _strongest(values: FloatArray, step_s: float) -> tuple[float, float]:
    """Return the strongest line over the median of the spectrum, and its frequency."""
    values = values - values.mean()
    if not values.any():
        return 0.0, 0.0
    size = 8 * values.size
    spectrum = np.abs(np.fft.rfft(values * np.hanning(values.size), size))
    f = np.fft.rfftfreq(size, step_s)
    near, wide = (f > 20) & (f < 90), (f > 15) & (f < 190)
    k = int(np.flatnonzero(near)[spectrum[near].argmax()])
    return float(spectrum[k] / max(float(np.median(spectrum[wide])), 1e-30)), float(f[k])
