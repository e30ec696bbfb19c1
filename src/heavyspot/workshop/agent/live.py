"""A spin that is captured just now, told to the server while it runs, so that the bench there shows it.

It costs the capture nothing: samples are on the disk before they come here, and what cannot be told is left out.
Each message has the whole curve and every figure that is not known to have arrived, so that a line that broke,
and a server that was started again, lack nothing once the next one comes.
"""

from __future__ import annotations

import math
import queue
import threading
import time
from collections import deque
from collections.abc import Callable, Iterator
from dataclasses import asdict

import numpy as np

from ...quantities.errors import HeavyspotError, SourceLost
from ...sources.live import Description, LiveBlock
from ..taking.following import Figures, Shown, follow
from .line import Line, Refused

EVERY_S = 0.1
"""Between two messages."""

AGAIN_S, REFUSED_S = 0.5, 5.0
"""Before the next one when the line is down, and when the server refuses."""

MOST = 600
"""Figures kept for a line that is down: over half a minute; what was passed before is in the curve."""

LAG_S = 10.0
"""A computer that is so far behind its samples shows nothing of use (ours)."""

CAPTURED = "It is captured all the same."

LAST_S = 30.0
"""So long it is tried to say that a spin has ended; by then the server takes it as gone."""


class LiveSpin:
    """Follows one spin and tells the server.

    Parameters
    ----------
    line : Line
    rig, agent : str
        The rig's name, and the agent's own for itself.
    spin, serial : str
        The spin's name on the disk, and whose it is.
    say : callable
        Told why the server does not show it.
    """

    def __init__(
        self,
        line: Line,
        description: Description,
        *,
        rig: str,
        agent: str,
        spin: str,
        serial: str,
        say: Callable[[str], None],
    ) -> None:
        self._line, self._description, self._say = line, description, say
        self._rig = rig
        self._who = {"agent": agent, "spin": spin, "serial": serial}
        self._blocks: queue.SimpleQueue[LiveBlock | None] = queue.SimpleQueue()
        self._broken = False
        self._lost = 0
        self._changed = threading.Condition()
        self._waiting: deque[Figures] = deque(maxlen=MOST)
        self._curve: dict[str, object] = {"curve": [], "up": []}
        self._newest_s = -1.0
        self._ended = False
        self._threads = [
            threading.Thread(target=work, name=name, daemon=True)
            for name, work in (("follow", self._follow), ("tell", self._tell))
        ]

    def start(self) -> None:
        """Begin; returns at once."""
        for thread in self._threads:
            thread.start()

    def took(self, block: LiveBlock | None) -> None:
        """Take a block that is on the disk, None after the last; never waits."""
        if not self._broken:
            self._blocks.put(block)

    def join(self, timeout_s: float | None = None) -> None:
        """Wait until the last is told, or given up."""
        for thread in self._threads:
            thread.join(timeout_s)

    def _coming(self) -> Iterator[LiveBlock]:
        while (block := self._blocks.get()) is not None:
            self._lost += block.lost
            if time.monotonic() - block.host_time_s > LAG_S:
                raise SourceLost("This computer is too slow to show the spin.", remedy=CAPTURED)
            yield block

    def _follow(self) -> None:
        """Follow to the end; where that fails nothing more is said, least of all that the rotor stands."""
        try:
            for shown in follow(self._description, self._coming()):
                self._add(shown)
        except HeavyspotError as fault:
            self._broken = True
            self._say(str(fault))
        with self._changed:
            self._ended = True
            self._changed.notify_all()

    def _add(self, shown: Shown) -> None:
        curve = curve_of(shown) if shown.drawn or not self._curve["curve"] else None
        with self._changed:
            if shown.figures.time_s > self._newest_s:  # the end of a spin may be told already
                self._waiting.append(shown.figures)
            self._newest_s = shown.figures.time_s
            self._curve = curve or self._curve
            self._changed.notify_all()

    def _tell(self) -> None:
        ended_at: float | None = None
        while True:
            with self._changed:
                self._changed.wait_for(lambda: bool(self._waiting) or self._ended)
                if self._broken:
                    return
                going, ended = list(self._waiting), self._ended
                said = {**self._who, **self._curve, "lost": self._lost, "ended": ended}
            if ended:
                ended_at = ended_at or time.monotonic()
            wait_s = self._told(said, going)
            if wait_s == EVERY_S:
                with self._changed:
                    while self._waiting and going and self._waiting[0] in going:
                        self._waiting.popleft()
            if ended and (wait_s == EVERY_S or time.monotonic() - (ended_at or 0.0) > LAST_S):
                return
            time.sleep(wait_s)

    def _told(self, said: dict[str, object], going: list[Figures]) -> float:
        """Tell it; returns how long to wait before the next."""
        said |= {"said_at_s": time.monotonic(), "figures": [figures_json(f) for f in going]}
        try:
            self._line.stream(self._rig, said)
        except SourceLost:
            return AGAIN_S  # the word to the server says so
        except Refused as fault:
            self._say(f"The bench does not show this spin: {fault}")
            return REFUSED_S
        return EVERY_S


def curve_of(shown: Shown) -> dict[str, object]:
    """Return the curve so far as it is sent."""
    speed, vector = shown.growing.vectors()
    up = np.array([speed, vector.real, vector.imag]).T
    return {
        "curve": np.round(shown.growing.points().T, 5).tolist(),
        "up": np.round(up, 6).tolist(),
    }


def figures_json(figures: Figures) -> dict[str, float | None]:
    """Return figures as they are sent: null where there is no number."""
    return {k: v if math.isfinite(v) else None for k, v in asdict(figures).items()}
