"""Live sources: blocks as they come. One small contract for the simulated rig, replay and devices.

A third party adds a device with the entry-point group ``heavyspot.live``: a callable that takes the
settings of a rig and returns a `LiveSource`.
"""

from __future__ import annotations

import time
from collections.abc import Iterator
from dataclasses import dataclass
from typing import Protocol

import numpy as np
from numpy.typing import NDArray

from ..quantities.angles import Rotation
from ..sim.cartridge import Cartridge
from ..sim.spin import SpinSettings, spin, stand
from .recording import Channel, Recording
from .simulated import CHANNELS, RIG

BLOCK_S = 0.02


@dataclass(frozen=True)
class LiveBlock:
    """Samples as they came.

    Attributes
    ----------
    first_sample : int
        Counted by the device, so that a gap shows.
    data : ndarray, shape (n, channels), float32
        Stored values, as in a recording's block.
    host_time_s : float
        Monotonic clock of this computer when the block was complete.
    lost : int
        Samples the device says it lost just before this block.
    """

    first_sample: int
    data: NDArray[np.float32]
    host_time_s: float
    lost: int = 0


@dataclass(frozen=True)
class Description:
    """What a live source delivers."""

    channels: tuple[Channel, ...]
    sample_rate_hz: float
    rotation: Rotation | None
    rig: str


class LiveSource(Protocol):
    """What a device offers. `blocks` ends when the source has no more; `close` ends it early."""

    def describe(self) -> Description:
        """Return channels, rate and rig; may be asked before `open`."""
        ...

    def open(self) -> None:
        """Start delivering; raises `SourceLost` when the device is not there."""
        ...

    def blocks(self) -> Iterator[LiveBlock]:
        """Yield blocks as they come, about every 20 ms."""
        ...

    def close(self) -> None:
        """Stop; safe to call from another thread, and twice."""
        ...


class _Paced:
    """Yields samples in memory at the pace of real time."""

    def __init__(self, *, pace: float = 1.0) -> None:
        self._stop = False
        self._pace = pace

    def _samples(self) -> Iterator[NDArray[np.float32]]:
        raise NotImplementedError

    def describe(self) -> Description:
        raise NotImplementedError

    def open(self) -> None:
        """Start."""
        self._stop = False

    def close(self) -> None:
        """Stop after the present block."""
        self._stop = True

    def blocks(self) -> Iterator[LiveBlock]:
        """Yield 20 ms at a time, never ahead of the clock."""
        rate = self.describe().sample_rate_hz
        begin, at = time.monotonic(), 0
        for data in self._samples():
            at += data.shape[0]
            ahead = begin + at / rate / self._pace - time.monotonic()
            if ahead > 0:
                time.sleep(ahead)
            if self._stop:
                return
            yield LiveBlock(at - data.shape[0], data, time.monotonic())


class SimulatedLive(_Paced):
    """The simulated rig in real time.

    Parameters
    ----------
    unit : Cartridge
        As it is now, cuts included.
    seed : int
    pace : float
        Times real time; 1 at the bench.
    """

    def __init__(
        self, unit: Cartridge, seed: int, *, settings: SpinSettings | None = None, pace: float = 1.0
    ) -> None:
        super().__init__(pace=pace)
        self._unit, self._seed = unit, seed
        self._settings = settings or SpinSettings(sample_rate_hz=51_200.0)

    def describe(self) -> Description:
        """Return what the simulated rig delivers."""
        return Description(CHANNELS, self._settings.sample_rate_hz, "clockwise", RIG)

    def _samples(self) -> Iterator[NDArray[np.float32]]:
        made = spin(self._unit, self._seed, self._settings)
        size = round(BLOCK_S * made.sample_rate_hz)
        for at in range(0, made.samples.shape[0], size):
            yield made.samples[at : at + size]


class StandingLive(SimulatedLive):
    """The simulated rig before the air is on."""

    def _samples(self) -> Iterator[NDArray[np.float32]]:
        made = stand(self._seed, 5.0, self._settings)
        size = round(BLOCK_S * self._settings.sample_rate_hz)
        for at in range(0, made.shape[0], size):
            yield made[at : at + size]


class ReplayLive(_Paced):
    """A recording, played at the pace it was made."""

    def __init__(self, recording: Recording, *, pace: float = 1.0) -> None:
        super().__init__(pace=pace)
        self._recording = recording

    def describe(self) -> Description:
        """Return what the recording holds."""
        r = self._recording
        return Description(r.channels, r.sample_rate_hz, r.rotation, r.rig)

    def _samples(self) -> Iterator[NDArray[np.float32]]:
        for block in self._recording.blocks(round(BLOCK_S * self._recording.sample_rate_hz)):
            yield block.data
