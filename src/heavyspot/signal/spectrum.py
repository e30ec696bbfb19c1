"""The speed-frequency map: short spectra through the spin, for looking and for sub-synchronous content."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from ..quantities.arrays import Array, Growing
from ..quantities.checks import positive

_LINES = 4096
_RATE_HZ = 25_600.0
_LOWEST_TONE_HZ = 200.0

MOST_SPECTRA = 1000
"""So many spectra tell what is usual."""


@dataclass(frozen=True)
class SpeedFrequencyMap:
    """Amplitude over time and frequency.

    Attributes
    ----------
    time_s : ndarray, shape (m,)
        Middle of each spectrum.
    frequency_hz : ndarray, shape (f,)
    amplitude : ndarray, shape (m, f), float16
        Zero-to-peak, in the channel's unit (a steady sine reads its amplitude). Half precision is good to a part
        in 2,000 and to 0.1 ug: half an hour of it has to fit beside the rest.
    """

    time_s: Array
    frequency_hz: Array
    amplitude: NDArray[np.float16]

    def some(self, wanted: NDArray[np.bool_]) -> NDArray[np.float32]:
        """Return the wanted spectra, or of more than 1,000 as many evenly spread; shape (k, f)."""
        at = np.flatnonzero(wanted)
        return self.amplitude[at[:: -(-at.size // MOST_SPECTRA) or 1]].astype(np.float32)


_HALF_BAND = (0.31241, -0.08923, 0.03881, -0.01646, 0.00579, -0.00131)
"""Taps at odd distances of a half-band filter of 23; the middle one is 0.5. Windowed sinc (Kaiser, beta 6):
what lies within 0.15 of the old rate of its half, and so would fold below 0.3 of the new one, is down by 67 dB."""


class HalfBand:
    """Streaming thinning by two.

    Any chunking gives the same samples. The first output is at the first sample fed.
    """

    def __init__(self) -> None:
        reach = 2 * len(_HALF_BAND) - 1
        self._reach = reach
        self._wait = np.zeros(reach, np.float32)  # ends at an even place of the stream

    def feed(self, samples: NDArray[np.float32]) -> NDArray[np.float32]:
        """Return the next thinned samples, `reach` samples behind."""
        x = np.concatenate([self._wait, samples])
        n = max(0, (x.size - 2 * self._reach + 1) // 2)
        if n == 0:
            self._wait = x
            return np.empty(0, np.float32)
        r = self._reach
        out = x[r : r + 2 * n : 2] * np.float32(0.5)
        for i, tap in enumerate(_HALF_BAND):
            d = 2 * i + 1
            out += np.float32(tap) * (x[r - d : r - d + 2 * n : 2] + x[r + d : r + d + 2 * n : 2])
        self._wait = x[2 * n :].copy()
        return np.asarray(out, np.float32)


class MapMaker:
    """Streaming short spectra of one channel; the same in any chunking.

    Samples are thinned by halves to between 25.6 and 51.2 kS/s, each time through a half-band filter, so that
    a blade-pass line near half the rate does not fold onto the frequencies below the turning; then a Hann
    window of 4096 samples, without overlap.
    """

    def __init__(self, *, sample_rate_hz: float, scale: float = 1.0) -> None:
        rate = positive("sample_rate_hz", sample_rate_hz)
        self._halves: list[HalfBand] = []
        while rate / 2 >= _RATE_HZ * (1 - 1e-9):
            self._halves.append(HalfBand())
            rate /= 2
        self.rate_hz = rate
        lines = _LINES
        while lines > 256 and lines / self.rate_hz > 0.25:
            lines //= 2
        self._lines = lines
        self._window = np.hanning(lines + 1)[:-1].astype(np.float32)
        self._factor = np.float32(scale * 4.0 / lines)
        self._wait = np.empty(0, np.float32)
        self._rows = Growing()

    def feed(self, samples: NDArray[np.float32]) -> None:
        """Take the next samples of the channel, shape (n,), any n."""
        for half in self._halves:
            samples = half.feed(samples)
        joined = np.concatenate([self._wait, samples]) if self._wait.size else samples
        whole = joined.size // self._lines
        if whole:
            rows = joined[: whole * self._lines].reshape(whole, self._lines)
            rows = rows - rows.mean(axis=1, keepdims=True)
            rows *= self._window
            amplitude = np.abs(np.fft.rfft(rows, axis=1)).astype(np.float32) * self._factor
            self._rows.add(amplitude.astype(np.float16))
        self._wait = joined[whole * self._lines :].copy()

    def finish(self) -> SpeedFrequencyMap:
        """Return the map; an incomplete last spectrum is dropped."""
        frequency = np.fft.rfftfreq(self._lines, 1 / self.rate_hz)
        kept = len(self._rows)
        rows = self._rows.so_far() if kept else np.empty((0, frequency.size), np.float16)
        span_s = self._lines / self.rate_hz
        return SpeedFrequencyMap((np.arange(kept) + 0.5) * span_s, frequency, rows)


@dataclass(frozen=True)
class SubSynchronous:
    """The strongest line below the turning frequency, where it was strongest.

    Attributes
    ----------
    order : float
        Median of its frequency over the turning frequency.
    amplitude : float
        Largest zero-to-peak amplitude, channel unit.
    speed_rpm : float
        Speed at the largest amplitude.
    share_of_run : float
        Share of the spectra, above a fifth of the top speed, in which it stands out.
    """

    order: float
    amplitude: float
    speed_rpm: float
    frequency_hz: float
    share_of_run: float


@dataclass(frozen=True)
class FixedTone:
    """A line that stays where it is whatever the rotor does.

    Attributes
    ----------
    frequency_hz, amplitude : float
        Usual zero-to-peak amplitude, channel unit.
    """

    frequency_hz: float
    amplitude: float


def find_fixed_tones(spectra: SpeedFrequencyMap, speed_rpm: NDArray[np.float64]) -> list[FixedTone]:
    """Return the lines that are there at all speeds alike, strongest first.

    A line counts when it stands six times over its neighbours in most spectra below half the top speed and
    in most above it: a whirl is never there while the rotor turns slower than the line.
    """
    if not np.isfinite(speed_rpm).any():
        return []
    top = float(np.nanmax(speed_rpm))
    with np.errstate(invalid="ignore"):
        fast, slow = speed_rpm > 0.6 * top, ~(speed_rpm > 0.4 * top)
    if fast.sum() < 4 or slow.sum() < 4:
        return []
    usual = np.minimum(*(np.percentile(spectra.some(s), 30, axis=0) for s in (fast, slow)))
    f = spectra.frequency_hz
    if usual.size < 64:
        return []
    # a quick test first: over three times the usual level of its surroundings, in steps of 32 bins
    coarse = np.median(usual[: usual.size // 32 * 32].reshape(-1, 32), axis=1)
    level = np.repeat(coarse, 32)
    inner = usual[1 : level.size - 1]
    peak = (inner >= usual[: level.size - 2]) & (inner >= usual[2 : level.size])
    found = []
    for k in (np.flatnonzero(peak & (inner > 3 * level[1:-1])) + 1).tolist():
        if not 12 <= k < usual.size - 12 or f[k] < _LOWEST_TONE_HZ:
            continue
        about = float(np.median(np.r_[usual[k - 12 : k - 3], usual[k + 4 : k + 13]]))
        if usual[k] >= usual[k - 3 : k + 4].max() and usual[k] > 6 * max(about, 1e-12):
            found.append(FixedTone(float(f[k]), float(usual[k])))
    return sorted(found, key=lambda t: -t.amplitude)[:8]


def find_sub_synchronous(
    spectra: SpeedFrequencyMap,
    speed_rpm: NDArray[np.float64],
    *,
    tones_hz: tuple[float, ...] = (),
) -> SubSynchronous | None:
    """Return the sub-synchronous line that stands out, or None.

    Parameters
    ----------
    spectra : SpeedFrequencyMap
    speed_rpm : ndarray, shape (m,)
        Speed at each spectrum; NaN where unknown.
    tones_hz : tuple of float
        Frequencies of fixed tones, which are no whirl.

    Notes
    -----
    A line counts between 0.2 and 0.9 of the turning frequency when it is at least 12 times the
    median of that band and does not lie on the mains or its second harmonic. It must stand out in
    three spectra in a row with orders within 0.06 of each other or frequencies within 4 % (whirl
    follows the speed, whip stays at its frequency).
    """
    if spectra.time_s.size == 0 or not np.isfinite(speed_rpm).any():
        return None
    top = float(np.nanmax(speed_rpm))
    f, step = spectra.frequency_hz, spectra.frequency_hz[1]
    hits: list[tuple[float, float, float, float]] = []
    run: list[tuple[float, float, float, float]] = []
    looked = kept = 0
    for row, rpm in zip(spectra.amplitude, speed_rpm, strict=True):
        turning = rpm / 60.0
        hit = None
        if np.isfinite(rpm) and rpm > 0.2 * top and turning > 20 * step:
            looked += 1
            hit = _line_in(row.astype(np.float32), f, turning, tones_hz)
        if hit is not None and (not run or _alike(run[-1], hit)):
            run.append(hit)
        else:
            run = [hit] if hit is not None else []
        if len(run) >= 3:
            fresh = run if len(run) == 3 else run[-1:]
            hits.extend(fresh)
            kept += len(fresh)
    if not hits:
        return None
    _order, amplitude, rpm, hz = max(hits, key=lambda h: h[1])
    return SubSynchronous(
        float(np.median([h[0] for h in hits])), amplitude, rpm, hz, kept / max(looked, 1)
    )


def _line_in(
    row: NDArray[np.float32],
    f: NDArray[np.float64],
    turning_hz: float,
    tones_hz: tuple[float, ...] = (),
) -> tuple[float, float, float, float] | None:
    low, high = np.searchsorted(f, [0.2 * turning_hz, 0.9 * turning_hz - 3 * f[1]])
    band = row[low:high]
    if band.size < 12:
        return None
    for tone in tones_hz:
        at = int(np.searchsorted(f, tone)) - int(low)
        if -4 < at < band.size + 4:
            band = band.copy()
            band[max(0, at - 4) : max(0, at + 4)] = float(np.median(band))
    k = int(band.argmax())
    hz = float(f[low + k])
    mains = min(abs(hz - m) for m in (50.0, 60.0, 100.0, 120.0)) < 2.5 * f[1]
    if mains or k in (0, band.size - 1) or band[k] < 12 * _median(band):
        return None
    # a moving line is spread over some bins: its amplitude is that of their sum of squares
    near = band[max(0, k - 4) : k + 5]
    amplitude = float(np.sqrt((near.astype(float) ** 2).sum() / 1.5))
    return hz / turning_hz, amplitude, turning_hz * 60.0, hz


def _median(values: NDArray[np.float32]) -> float:
    """Return the median, without the checks that take longer than it on a few hundred values."""
    half = values.size // 2
    if values.size % 2:
        return float(np.partition(values, half)[half])
    two = np.partition(values, (half - 1, half))
    return 0.5 * float(two[half - 1] + two[half])


def _alike(a: tuple[float, float, float, float], b: tuple[float, float, float, float]) -> bool:
    return abs(a[0] - b[0]) < 0.06 or abs(a[3] / b[3] - 1) < 0.04
