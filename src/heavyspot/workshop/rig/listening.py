"""Listening to a rig while it is being connected: the level of each input, and turns made by hand."""

from __future__ import annotations

import threading
import time
from collections import deque
from dataclasses import dataclass
from itertools import pairwise
from typing import Literal

import numpy as np

from ...quantities.errors import HeavyspotError
from ...sources.live import LiveBlock, LiveSource
from ...sources.recording import Channel

KEPT_S = 12.0
"""How far back is looked: five slow turns by hand."""

PATIENCE_S = 15.0
"""A device that nobody asks about is let go after so long."""

RMS_S, PEAK_S = 0.5, 2.0
SILENT = 1e-4
"""Of full scale, peak: below it nothing is plugged in (experience, no source)."""

FULL = 0.98
"""Of full scale, peak."""

STANDS_OUT = 5.0
"""A mark's peak over what lies between marks (experience, no source)."""

APART_S = 0.25
"""No hand turns a shaft faster than this between marks."""

State = Literal["silent", "full", "alive"]


@dataclass(frozen=True)
class InputHeard:
    """One input.

    Attributes
    ----------
    rms, peak : float
        Of full scale: over the newest half second, and the highest of the newest two seconds.
    rms_g : float or None
        The same rms in g, of an accelerometer with a sensitivity.
    marks : int
        Pulses in what is kept; of a pickup.
    strip : tuple of float
        Peaks of the newest seconds, oldest first, of full scale.
    """

    name: str
    state: State
    rms: float
    peak: float
    rms_g: float | None
    marks: int
    strip: tuple[float, ...]


@dataclass(frozen=True)
class Heard:
    """What a rig says just now; `fault` when its device is lost."""

    inputs: tuple[InputHeard, ...]
    lost: int = 0
    fault: str = ""


class Listening:
    """A device that is listened to in the background, until nobody asks any more.

    Raises
    ------
    SourceLost
        The device is not there (when it is made).
    """

    def __init__(self, source: LiveSource, *, patience_s: float = PATIENCE_S) -> None:
        self._source, self._patience_s = source, patience_s
        self._description = source.describe()
        self._blocks: deque[tuple[float, np.ndarray, np.ndarray]] = deque()
        self._lost, self._fault = 0, ""
        self._asked = time.monotonic()
        self._lock = threading.Lock()
        source.open()
        self._thread = threading.Thread(target=self._run, daemon=True)
        self._thread.start()

    @property
    def running(self) -> bool:
        """Whether it is still listened to."""
        return self._thread.is_alive()

    def heard(self) -> Heard:
        """Return what it says just now; asking keeps the device."""
        self._asked = time.monotonic()
        with self._lock:
            blocks, lost, fault = list(self._blocks), self._lost, self._fault
        channels = self._description.channels
        return Heard(tuple(_input(c, i, blocks) for i, c in enumerate(channels)), lost, fault)

    def stop(self) -> None:
        """Let the device go; safe to call twice."""
        self._source.close()
        self._thread.join(5.0)

    def _run(self) -> None:
        try:
            for block in self._source.blocks():
                self._take(block)
                if time.monotonic() - self._asked > self._patience_s:
                    break
        except HeavyspotError as fault:
            self._fault = f"{fault.message} {fault.remedy}"
        finally:
            self._source.close()

    def _take(self, block: LiveBlock) -> None:
        data = np.asarray(block.data, np.float64)
        data = data - np.median(data, axis=0)
        at = block.first_sample / self._description.sample_rate_hz
        with self._lock:
            self._blocks.append((at, np.mean(data**2, axis=0), np.abs(data).max(axis=0)))
            self._lost += block.lost
            while self._blocks and at - self._blocks[0][0] > KEPT_S:
                self._blocks.popleft()


def _input(
    channel: Channel, i: int, blocks: list[tuple[float, np.ndarray, np.ndarray]]
) -> InputHeard:
    now = blocks[-1][0] if blocks else 0.0
    squares = [float(sq[i]) for at, sq, _ in blocks if now - at <= RMS_S]
    peaks = [float(p[i]) for at, _, p in blocks if now - at <= PEAK_S]
    rms = float(np.sqrt(np.mean(squares))) if squares else 0.0
    peak = max(peaks, default=0.0)
    strip = [(at, float(p[i])) for at, _, p in blocks]
    sensed = channel.quantity == "acceleration" and channel.sensitivity is not None
    return InputHeard(
        channel.name,
        "full" if peak >= FULL else "silent" if peak < SILENT else "alive",
        rms,
        peak,
        rms * channel.g_per_stored if sensed else None,
        len(marks(strip)) if channel.quantity == "phase" else 0,
        tuple(p for _, p in strip),
    )


def marks(strip: list[tuple[float, float]]) -> list[float]:
    """Return when marks passed, from (time, peak) of short stretches: peaks that stand out, hand-slow apart.

    >>> quiet = [(0.02 * i, 0.001) for i in range(500)]
    >>> turned = [(t, 0.2 if round(t / 0.02) % 60 == 30 else p) for t, p in quiet]
    >>> len(marks(quiet)), len(marks(turned))
    (0, 8)
    """
    if len(strip) < 2:
        return []
    values = np.array([p for _, p in strip])
    floor, top = float(np.median(values)), float(values.max())
    if top < max(STANDS_OUT * floor, SILENT):
        return []
    level = floor + 0.5 * (top - floor)
    out: list[float] = []
    for (_, before), (at, now) in pairwise(strip):
        if before < level <= now and (not out or at - out[-1] >= APART_S):
            out.append(at)
    return out
