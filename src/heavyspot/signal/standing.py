"""What the channels say while the rotor stands still: alive, humming, near full scale."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from ..quantities.arrays import Array
from ..quantities.errors import SignalTooPoor

MAINS_HZ = (50.0, 60.0)
SHORTEST_S = 0.4


@dataclass(frozen=True)
class Standing:
    """Levels of one channel at standstill, in its unit.

    Attributes
    ----------
    mean, rms, peak : float
        The rms about the mean; the peak from zero.
    hum : float
        Amplitude of the mains line (its first three harmonics together).
    mains_hz : float
        50 or 60, whichever is stronger.
    """

    mean: float
    rms: float
    peak: float
    hum: float
    mains_hz: float


def standing_levels(samples: Array, *, sample_rate_hz: float) -> tuple[Standing, ...]:
    """Return the levels of every channel.

    Parameters
    ----------
    samples : ndarray, shape (n, channels)

    Raises
    ------
    SignalTooPoor
        Shorter than 0.4 s: 50 and 60 Hz could not be told apart.
    """
    n = samples.shape[0]
    if n < SHORTEST_S * sample_rate_hz:
        raise SignalTooPoor(
            f"Only {n / sample_rate_hz:.2f} s came from the rig.", remedy="Listen again."
        )
    x = np.asarray(samples, dtype=np.float64)
    mean = x.mean(axis=0)
    ac = x - mean
    t = np.arange(n) / sample_rate_hz
    lines = np.stack([_line(ac, t, hz) for hz in MAINS_HZ])
    best = lines.argmax(axis=0)
    rms = np.sqrt(np.mean(ac**2, axis=0))
    peak = np.abs(x).max(axis=0)
    return tuple(
        Standing(
            float(mean[i]),
            float(rms[i]),
            float(peak[i]),
            float(lines[best[i], i]),
            MAINS_HZ[int(best[i])],
        )
        for i in range(x.shape[1])
    )


def mains_lines(
    samples: Array, *, sample_rate_hz: float, mains_hz: float, count: int = 8
) -> tuple[float, ...]:
    """Return the amplitudes of the mains line and its harmonics in one channel, in its unit.

    Parameters
    ----------
    samples : ndarray, shape (n,)
    """
    ac = np.asarray(samples, dtype=np.float64)
    ac = ac - ac.mean()
    t = np.arange(ac.size) / sample_rate_hz
    window = np.hanning(t.size)
    window /= window.sum()
    each = (np.exp(-2j * np.pi * k * mains_hz * t) for k in range(1, count + 1))
    return tuple(float(abs(2 * (window * line) @ ac)) for line in each)


def _line(ac: Array, t: Array, hz: float) -> Array:
    """Amplitude of a line and its next two harmonics, root of the sum of squares."""
    window = np.hanning(t.size)
    window /= window.sum()
    power = np.zeros(ac.shape[1])
    for k in (1, 2, 3):
        power += np.abs(2 * (window * np.exp(-2j * np.pi * k * hz * t)) @ ac) ** 2
    return np.sqrt(power)
