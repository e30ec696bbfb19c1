"""A spin that an agent captures beside its rig, as its bench here shows it: figures as they come, never old as new.

An agent's times are by its own monotonic clock. What lies between that clock and this one is told from the
quickest of its messages; one that was held up on the way is known by coming later than that, and its figures
count in what is said of the spin, but are not shown as what it does now.
"""

from __future__ import annotations

import threading
import time
from dataclasses import dataclass, field, replace

import numpy as np
from numpy.typing import NDArray

from ...quantities.arrays import Array
from ..taking.disk_first import About
from ..taking.following import Figures
from .capture import Snapshot
from .watch import Seen, Watch

FRESH_S = 1.0
"""Figures older than this are not shown as what the rotor does now."""

GONE_S = 30.0
"""A spin of which nothing was heard for so long is over, as far as anybody here knows (ours)."""

GAP_S = 0.5
"""A hole in the figures from which the curve tells what was passed meanwhile (ours)."""


def _no_curve() -> NDArray[np.float64]:
    return np.empty((2, 0))


@dataclass(frozen=True)
class Streamed:
    """What an agent says of the spin it captures.

    Attributes
    ----------
    spin : str
        Its name on the agent's disk.
    serial : str
        Of the piece.
    said_at_s : float
        When it was sent, by the agent's monotonic clock, as in the figures.
    figures : tuple of Figures
        Those that are not known to have arrived, oldest first.
    lost : int
        Samples the device says it lost.
    ended : bool
        These are the last.
    curve : ndarray, shape (2, n)
        Speed and amplitude of the run so far.
    up_rpm, up_vector : ndarray, shape (k,)
        Speeds, ascending, and the first sensor's vector there, of the way up.
    """

    spin: str
    serial: str
    said_at_s: float
    figures: tuple[Figures, ...] = ()
    lost: int = 0
    ended: bool = False
    curve: NDArray[np.float64] = field(default_factory=_no_curve)
    up_rpm: Array = field(default_factory=lambda: np.empty(0))
    up_vector: NDArray[np.complex128] = field(default_factory=lambda: np.empty(0, complex))


class RemoteSpin:
    """A spin, from its first figures that came here to its last.

    Parameters
    ----------
    spin, serial : str
        As in `Streamed`.
    watch : Watch or None
        Says what is seen; the limits are known here, not at the agent.
    """

    def __init__(self, spin: str, serial: str, watch: Watch | None) -> None:
        self.id, self.about = spin, About(serial)
        self._watch = watch
        self._changed = threading.Condition()
        self._snapshot = Snapshot()
        self._here_less_there_s = float("inf")
        self._heard_at_s = time.monotonic()
        self._ended = False

    @property
    def running(self) -> bool:
        """Whether it has not ended, and was heard of not long ago."""
        return not self._ended and time.monotonic() - self._heard_at_s < GONE_S

    def take(self, said: Streamed) -> None:
        """Take what its agent says now; what was taken before is not taken twice."""
        at = time.monotonic()
        with self._changed:
            self._heard_at_s = at
            self._here_less_there_s = min(self._here_less_there_s, at - said.said_at_s)
            new = [f for f in said.figures if f.time_s > self._snapshot.time_s]
            if new:
                seen = self._see(said, new)
                newest = new[-1]
                here = replace(newest, sampled_at_s=newest.sampled_at_s + self._here_less_there_s)
                self._snapshot = self._snapshot.then(here, seen, lost=said.lost, curve=said.curve)
            self._ended = self._ended or said.ended
            self._changed.notify_all()

    def end(self) -> None:
        """It is over: another has begun."""
        with self._changed:
            self._ended = True
            self._changed.notify_all()

    def wait_for(self, number: int, timeout_s: float) -> Snapshot | None:
        """Return the newest snapshot once its number is above `number`; None where none that is fresh came."""
        with self._changed:
            self._changed.wait_for(lambda: self._snapshot.number > number or self._ended, timeout_s)
            shot = self._snapshot
        fresh = time.monotonic() - shot.sampled_at_s <= FRESH_S
        if shot.number > number and fresh:
            return shot
        if shot.number > number or self._ended:
            time.sleep(min(timeout_s, 0.1))  # old figures wake nobody again and again
        return None

    def _see(self, said: Streamed, new: list[Figures]) -> Seen:
        if self._watch is None:
            return Seen()
        if new[0].time_s - self._snapshot.time_s > GAP_S:
            self._watch.catch_up(said.curve)
        self._watch.foresee(said.up_rpm, said.up_vector)
        seen = Seen()
        for f in new:
            seen = self._watch.see(f.time_s, f.speed_rpm, f.amplitude_g, f.trusted)
        return seen
