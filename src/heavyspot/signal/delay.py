"""By how much one channel is late behind another, from a recording in which both were fed the same signal."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any

import numpy as np
from numpy.typing import NDArray

from ..quantities.errors import SignalTooPoor

FloatArray = NDArray[np.float64]

LONGEST_S = 1e-3
"""Delays beyond this are no delays of one interface's inputs."""

BLOCK = 4096
LEAST_BLOCKS = 8
COHERENT = 0.95
"""Coherence from which a frequency carries the same signal in both channels."""

FAINT = 1e-5
"""Power below which, beside a channel's strongest frequency, nothing is taken for signal."""

LEAST_RATIO = 8.0
"""Highest over lowest such frequency: a tone alone fits many delays."""

NEIGHBOURS = 1.5
"""Equivalent noise bandwidth of the window in bins (Harris 1978, table 1): neighbours share so much."""

TIGHT: Any = {"x_scale": "jac", "ftol": 1e-14, "xtol": 1e-12, "gtol": 1e-14}
"""The corner often lies at its bound, which the usual tolerances approach too slowly for the delay."""

SAME = "Feed one noise or sweep into both inputs at once, and record it for some seconds."


@dataclass(frozen=True)
class Delay:
    """What lies between two channels that were fed the same signal.

    Attributes
    ----------
    delay_s : float
        By which the channel is late behind the reference.
    standard_s : float
        Its standard uncertainty from the scatter of the phases.
    high_pass_hz : float
        First-order corner of the reference's input beyond that of the channel; 0 when none is seen.
    reversed : bool
        One of the two has its leads the other way round.
    lowest_hz, highest_hz : float
        Between which both carried the same signal.
    """

    delay_s: float
    standard_s: float
    high_pass_hz: float
    reversed: bool
    lowest_hz: float
    highest_hz: float


def delay_between(reference: FloatArray, channel: FloatArray, *, sample_rate_hz: float) -> Delay:
    """Return the delay of a channel behind a reference: the slope of the phase of their cross-spectrum.

    After Bendat and Piersol, Random Data, 4th edition, 5.2.7 (time delay from the phase) and 9.2 (each frequency
    weighs by its coherence). The corner of an AC-coupled reference turns its low end and is fitted beside it.

    Parameters
    ----------
    reference, channel : ndarray, shape (samples,)

    Raises
    ------
    SignalTooPoor
        Too short, too little in common, or a tone, of which any number of turns fits.
    """
    from scipy.optimize import least_squares
    from scipy.signal import csd, welch

    if reference.size < LEAST_BLOCKS * BLOCK:
        raise SignalTooPoor("The recording is too short for a delay.", remedy=SAME)
    settings = {"fs": sample_rate_hz, "nperseg": BLOCK}
    hz, cross = csd(reference, channel, **settings)
    own = np.stack([welch(x, **settings)[1] for x in (reference, channel)])
    coherence = np.abs(cross) ** 2 / np.maximum(own.prod(axis=0), 1e-300)
    loud = (own > FAINT * own.max(axis=1, keepdims=True)).all(
        axis=0
    )  # beyond, a tone's own leakage
    same = loud & (coherence > COHERENT) & (hz > 0) & (hz < 0.45 * sample_rate_hz)
    if same.sum() < 16 or hz[same].max() < LEAST_RATIO * hz[same].min():
        raise SignalTooPoor("The two channels carry no common signal, or a tone.", remedy=SAME)
    f = hz[same]
    turned = cross[same] / np.abs(cross[same])
    weight = np.sqrt(coherence[same] / np.maximum(1 - coherence[same], 1e-6))

    def off(at: FloatArray, sign: float) -> FloatArray:
        return weight * np.angle(sign * turned * np.conj(_turn(f, 1e-6 * at[0], at[1])))

    near_us, longest_us = 1e6 * _coarse(f, turned, weight), 1e6 * LONGEST_S
    bounds = ([-2 * longest_us, 0.0], [2 * longest_us, 2000.0])
    fits = [
        (least_squares(off, [near_us, 1.0], args=(sign,), bounds=bounds, **TIGHT), sign)
        for sign in (1.0, -1.0)
    ]
    best, sign = min(fits, key=lambda fit: fit[0].cost)
    if abs(best.x[0]) > longest_us:
        raise SignalTooPoor("The channels are over a millisecond apart.", remedy=SAME)
    spread = NEIGHBOURS * 2 * best.cost / max(f.size - 2, 1)
    standard = 1e-6 * float(np.sqrt(np.linalg.inv(best.jac.T @ best.jac)[0, 0] * spread))
    corner = float(best.x[1]) if best.x[1] > 0.05 * f.min() else 0.0
    return Delay(1e-6 * best.x[0], standard, corner, sign < 0, float(f.min()), float(f.max()))


def _turn(hz: FloatArray, delay_s: float, corner_hz: float) -> NDArray[np.complex128]:
    """Return the channel over the reference: late by the delay, and without what the reference's corner leads."""
    return np.asarray(np.exp(-1j * (2 * np.pi * hz * delay_s + np.arctan(corner_hz / hz))))


def _coarse(hz: FloatArray, turned: NDArray[np.complex128], weight: FloatArray) -> float:
    """Return the delay at which the phases agree best, on a grid finer than a quarter of the highest's period."""
    grid = np.arange(-LONGEST_S, LONGEST_S, 0.2 / hz.max())
    agree = np.abs(np.exp(2j * np.pi * np.outer(grid, hz)) @ (weight * turned))
    return float(grid[int(agree.argmax())])
