"""What a channel hears of a model beside unbalance: its floor at speed, which units of a model share.

The once-per-turn vibration differs from unit to unit; the broad noise of oil, air and bearings at test speed
differs little. A channel whose floor is half of what every unit of the model gave has half its sensitivity, or
the wrong unit, or hangs loose.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike, NDArray

from .spectrum import SpeedFrequencyMap, SubSynchronous

FAST = 0.85
"""Share of the highest speed above which the floor is taken."""

BAND_HZ = (1000.0, 10_000.0)

LEAST_HISTORY = 5
"""Runs of other units from which a floor is usual."""

UNUSUAL, UNUSUAL_SIGMA = 1.45, 3.5
"""Factor from the usual floor, and standard deviations of its logarithm, that are both out of the usual."""

SCATTER_AT_LEAST = 0.06


@dataclass(frozen=True)
class Heard:
    """What a channel heard at speed.

    Attributes
    ----------
    floor_g_rt_hz : float
        Broad noise between 1 and 10 kHz above 85 % of the highest speed, g per root hertz; 0: not known.
    whirl_g : float
        Highest line below the turning frequency, zero-to-peak, g; 0 when none stands out.
    """

    floor_g_rt_hz: float
    whirl_g: float


@dataclass(frozen=True)
class Unusual:
    """A level against the levels before it.

    Attributes
    ----------
    factor : float
        This level over the usual one.
    usual : float
    sigma : float
        Distance in standard deviations of the logarithm.
    runs : int
    """

    factor: float
    usual: float
    sigma: float
    runs: int


def floor_of(spectra: SpeedFrequencyMap, speed_rpm: NDArray[np.float64]) -> float:
    """Return the broad noise near the highest speed, g per root hertz; 0 when it cannot be told.

    The median over frequency and time of the spectra's amplitudes, so that lines do not enter; for noise it
    is 0.8326 of the root mean square (Rayleigh), and a Hann window's line is 1.5 bins wide.

    Parameters
    ----------
    speed_rpm : ndarray, shape (m,)
        Speed at each spectrum; NaN where unknown.
    """
    if spectra.time_s.size == 0 or not np.isfinite(speed_rpm).any():
        return 0.0
    with np.errstate(invalid="ignore"):
        fast = speed_rpm > FAST * np.nanmax(speed_rpm)
    f = spectra.frequency_hz
    band = (f > BAND_HZ[0]) & (f < min(BAND_HZ[1], 0.8 * f[-1]))
    if not fast.any() or band.sum() < 20:
        return 0.0
    usual = float(np.median(spectra.some(fast)[:, band]))
    return usual / (0.8326 * float(np.sqrt(3.0 * f[1])))


def heard_of(
    spectra: SpeedFrequencyMap, speed_rpm: NDArray[np.float64], line: SubSynchronous | None
) -> Heard:
    """Return what the channel of a map heard."""
    return Heard(floor_of(spectra, speed_rpm), line.amplitude if line else 0.0)


def robust_mean(values: NDArray[np.float64]) -> tuple[float, float]:
    """Return mean and standard deviation of values, shape (n,) with n > 1, that outliers hardly move.

    Algorithm A of ISO 13528:2015, annex C (from memory; it is Huber's proposal 2 with 1.5): values beyond 1.5
    standard deviations are drawn in to there, again and again.
    """
    mean = float(np.median(values))
    spread = 1.483 * float(np.median(np.abs(values - mean)))
    for _ in range(50):
        drawn = np.clip(values, mean - 1.5 * spread, mean + 1.5 * spread)
        before, mean, spread = spread, float(drawn.mean()), 1.134 * float(drawn.std(ddof=1))
        if abs(spread - before) <= 1e-9 * spread:
            break
    return mean, spread


def unusual_level(now: float, before: ArrayLike) -> Unusual | None:
    """Return how far a level is from those before it; None while it is usual, or too few are known.

    Against the robust mean and scatter of the logarithms, the scatter never taken smaller than 6 %.

    Parameters
    ----------
    before : array_like, shape (n,)
        Levels of other units, of the same rig and model; those not above 0 do not count.
    """
    known = np.asarray(before, dtype=float).reshape(-1)
    known = np.log(known[known > 0])
    if known.size < LEAST_HISTORY or now <= 0:
        return None
    centre, spread = robust_mean(known)
    scatter = max(spread, SCATTER_AT_LEAST)
    off = float(np.log(now)) - centre
    sigma = abs(off) / scatter
    if abs(off) < np.log(UNUSUAL) or sigma < UNUSUAL_SIGMA:
        return None
    return Unusual(float(np.exp(off)), float(np.exp(centre)), sigma, int(known.size))
