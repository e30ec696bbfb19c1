"""The speed-frequency map: short spectra through the spin, for looking and for sub-synchronous content."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from ..quantities.arrays import Array
from ..quantities.checks import positive

_LINES = 4096
_RATE_HZ = 25_600.0


@dataclass(frozen=True)
class SpeedFrequencyMap:
    """Amplitude over time and frequency.

    Attributes
    ----------
    time_s : ndarray, shape (m,)
        Middle of each spectrum.
    frequency_hz : ndarray, shape (f,)
    amplitude : ndarray, shape (m, f), float32
        Zero-to-peak, in the channel's unit (a steady sine reads its amplitude).
    """

    time_s: Array
    frequency_hz: Array
    amplitude: NDArray[np.float32]


class MapMaker:
    """Streaming short spectra of one channel; the same in any chunking.

    Samples are averaged down to about 25.6 kS/s (that mean has its zeros where content would fold
    onto low frequencies), then a Hann window of 4096 samples, without overlap.
    """

    def __init__(self, *, sample_rate_hz: float, scale: float = 1.0) -> None:
        rate = positive("sample_rate_hz", sample_rate_hz)
        self._thin = max(1, int(rate / _RATE_HZ + 1e-9))
        self.rate_hz = rate / self._thin
        lines = _LINES
        while lines > 256 and lines / self.rate_hz > 0.25:
            lines //= 2
        self._lines = lines
        self._need = lines * self._thin
        self._window = np.hanning(lines + 1)[:-1].astype(np.float32)
        self._factor = np.float32(scale * 4.0 / lines)
        self._wait = np.empty(0, np.float32)
        self._rows: list[NDArray[np.float32]] = []

    def feed(self, samples: NDArray[np.float32]) -> None:
        """Take the next samples of the channel, shape (n,), any n."""
        joined = np.concatenate([self._wait, samples]) if self._wait.size else samples
        whole = joined.size // self._need
        if whole:
            used = joined[: whole * self._need]
            thin = used[0 :: self._thin].astype(np.float32)
            for i in range(1, self._thin):
                thin += used[i :: self._thin]
            rows = thin.reshape(whole, self._lines) * np.float32(1.0 / self._thin)
            rows -= rows.mean(axis=1, keepdims=True)
            rows *= self._window
            self._rows.append(np.abs(np.fft.rfft(rows, axis=1)).astype(np.float32) * self._factor)
        self._wait = joined[whole * self._need :].copy()

    def finish(self) -> SpeedFrequencyMap:
        """Return the map; an incomplete last spectrum is dropped."""
        frequency = np.fft.rfftfreq(self._lines, 1 / self.rate_hz)
        amplitude = (
            np.concatenate(self._rows) if self._rows else np.empty((0, frequency.size), np.float32)
        )
        span_s = self._lines / self.rate_hz
        return SpeedFrequencyMap(
            (np.arange(amplitude.shape[0]) + 0.5) * span_s, frequency, amplitude
        )


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


def find_sub_synchronous(
    spectra: SpeedFrequencyMap, speed_rpm: NDArray[np.float64]
) -> SubSynchronous | None:
    """Return the sub-synchronous line that stands out, or None.

    Parameters
    ----------
    spectra : SpeedFrequencyMap
    speed_rpm : ndarray, shape (m,)
        Speed at each spectrum; NaN where unknown.

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
            hit = _line_in(row, f, turning)
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
    row: NDArray[np.float32], f: NDArray[np.float64], turning_hz: float
) -> tuple[float, float, float, float] | None:
    low, high = np.searchsorted(f, [0.2 * turning_hz, 0.9 * turning_hz - 3 * f[1]])
    band = row[low:high]
    if band.size < 12:
        return None
    k = int(band.argmax())
    hz = float(f[low + k])
    mains = min(abs(hz - m) for m in (50.0, 60.0, 100.0, 120.0)) < 2.5 * f[1]
    if mains or band[k] < 12 * float(np.median(band)) or k in (0, band.size - 1):
        return None
    # a moving line is spread over some bins: its amplitude is that of their sum of squares
    near = band[max(0, k - 4) : k + 5]
    amplitude = float(np.sqrt((near.astype(float) ** 2).sum() / 1.5))
    return hz / turning_hz, amplitude, turning_hz * 60.0, hz


def _alike(a: tuple[float, float, float, float], b: tuple[float, float, float, float]) -> bool:
    return abs(a[0] - b[0]) < 0.06 or abs(a[3] / b[3] - 1) < 0.04
