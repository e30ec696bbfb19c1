"""A simulated rig whose shaft is turned by hand, to try the connecting of a rig on."""

from __future__ import annotations

import time
from collections.abc import Iterator

import numpy as np

from ...sources.live import BLOCK_S, Description, LiveBlock
from ...sources.simulated import CHANNELS, RIG

TURN_S = 1.3
RATE_HZ = 48_000.0
NOISE, PULSE, PULSE_S = 5e-5, 0.05, 0.004
"""Of full scale, and how long a pulse is."""


class HandTurnedLive:
    """A quiet accelerometer, and a pickup with a pulse each turn, until it is closed."""

    def __init__(self, *, pace: float = 1.0) -> None:
        self._pace, self._stop = pace, False

    def describe(self) -> Description:
        """Return the channels of the simulated rig."""
        return Description(CHANNELS, RATE_HZ, "clockwise", RIG)

    def open(self) -> None:
        """Start."""
        self._stop = False

    def close(self) -> None:
        """Stop after the present block."""
        self._stop = True

    def blocks(self) -> Iterator[LiveBlock]:
        """Yield 20 ms at a time."""
        rng, size, at = np.random.default_rng(7), round(BLOCK_S * RATE_HZ), 0
        while not self._stop:
            data = NOISE * rng.standard_normal((size, 2))
            t = (at + np.arange(size)) / RATE_HZ % TURN_S
            data[:, 1] += np.where(t < PULSE_S, PULSE * np.sin(2 * np.pi * t / PULSE_S), 0.0)
            yield LiveBlock(at, data.astype(np.float32), time.monotonic())
            at += size
            time.sleep(BLOCK_S / self._pace)
