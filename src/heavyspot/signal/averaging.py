"""Many turns at low speed, constant or drifting, as a few vectors whose scatter tells the uncertainty.

The recording is cut into stretches of as many turns each; in each the once-per-turn vector is a
weighted mean (Hann over the stretch, so that neither the end of a turn nor other orders leak in). The
speed of each stretch goes with it: what grows with the square of speed is set right before the mean.
"""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from ..quantities.errors import SignalTooPoor
from .mark.reference import ReferenceSettings
from .phase import phased_blocks, spells
from .tracker import Tracker

SLOWER = 10.0
"""Times the tracker's lowest speed is lowered: it is told a sample rate as much higher."""

LEAST_TURNS, STRETCHES = 8.0, 24
"""Turns of a stretch at least; stretches wanted."""

LEAST_STRETCHES = 5

LOWEST_SHARE = 0.8
"""Only speeds above this share of the usual speed count: the machine was still running up before."""


@dataclass(frozen=True)
class TurnStretches:
    """Vectors of stretches of turns.

    Attributes
    ----------
    speed_rpm : ndarray, shape (k,)
    vectors : ndarray, shape (channels, k), complex128
        Once-per-turn vectors on the rotor, zero-to-peak, in the channel's unit.
    turns : float
        Turns in all.
    """

    speed_rpm: NDArray[np.float64]
    vectors: NDArray[np.complex128]
    turns: float

    def mean(self, power: float = 0.0) -> tuple[NDArray[np.complex128], NDArray[np.float64], float]:
        """Return mean vectors at the mean speed, standard uncertainty of a component, and that speed.

        Parameters
        ----------
        power : float
            Each stretch is scaled by (mean speed / its speed) to this power: 2 for forces of unbalance.
        """
        speed = float(self.speed_rpm.mean())
        v = self.vectors * (speed / self.speed_rpm) ** power
        k = v.shape[1]
        mean = v.mean(axis=1)
        left = (np.abs(v - mean[:, None]) ** 2).sum(axis=1) / (2 * (k - 1))
        return mean, np.sqrt(left / k), speed


def turn_stretches(
    blocks: Iterable[NDArray[np.float32]],
    *,
    sample_rate_hz: float,
    phase_channel: int,
    channels: tuple[int, ...],
    scale: NDArray[np.float64],
    reference: ReferenceSettings,
) -> TurnStretches:
    """Return the once-per-turn vectors of a recording at a steady or slowly drifting low speed.

    Parameters
    ----------
    blocks : iterable of ndarray, shape (n, channels)
    channels : tuple of int
        Columns to follow.
    scale : ndarray, shape (len(channels),)
        From stored samples to the unit wanted.

    Raises
    ------
    SignalTooPoor
        No reference that can be followed, or too few turns.
    """
    tracker = Tracker(
        sample_rate_hz=sample_rate_hz * SLOWER,
        phase_channel=phase_channel,
        vibration_channels=channels,
        reference=reference,
    )
    for data in blocks:
        tracker.feed(data)
    phased = phased_blocks(tracker.finish(), scale=scale)
    speed = phased.speed_rpm / SLOWER
    if not phased.trusted.any():
        raise SignalTooPoor(
            "The phase channel has no regular once-per-turn signal.",
            remedy="Look at the mark and its sensor; is the rotor turning?",
        )
    usual = float(np.median(speed[phased.trusted]))
    with np.errstate(invalid="ignore"):
        steady = phased.trusted & (speed > LOWEST_SHARE * usual)
    start, stop = max(spells(steady), key=lambda s: s[1] - s[0])
    block_s = phased.block_s * SLOWER
    turned = np.concatenate([[0.0], np.cumsum(speed[start:stop] / 60 * block_s)])
    turns = float(turned[-1])
    count = int(min(STRETCHES, turns // LEAST_TURNS))
    if count < LEAST_STRETCHES:
        raise SignalTooPoor(
            f"{turns:.0f} turns at a steady speed; at least {LEAST_STRETCHES * LEAST_TURNS:.0f} are needed.",
            remedy="Record for longer at the measuring speed.",
        )
    middle = 0.5 * (turned[1:] + turned[:-1]) * count / turns
    vectors = phased.vectors[:, start:stop, 1]
    speeds, means = [], []
    for k in range(count):
        x = middle - k
        w = np.where((x > 0) & (x < 1), np.sin(np.pi * x) ** 2, 0.0) * speed[start:stop]
        w = w / w.sum()
        means.append(vectors @ w)
        speeds.append(float(speed[start:stop] @ w))
    return TurnStretches(np.array(speeds), np.stack(means, axis=1).astype(np.complex128), turns)
