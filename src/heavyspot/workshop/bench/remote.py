"""A rig whose samples are captured by an agent beside it, on a computer of its own: what it said last."""

from __future__ import annotations

import threading
import time
from collections.abc import Callable
from dataclasses import dataclass, field, replace

from ...quantities.errors import LedgerFault, NotThere
from ...quantities.said import Said
from ...sources.live import LiveSource
from .remote_spin import RemoteSpin, Streamed
from .watch import Watch

SILENT_S = 30.0
"""An agent that said nothing for so long is taken as away: it speaks every few seconds (ours)."""

SLOW_FOR_S = 10.0
"""So long a value of a slow channel is shown after it was said: an agent speaks every three seconds (ours)."""


@dataclass(frozen=True)
class AgentSays:
    """What an agent says of itself.

    Attributes
    ----------
    spins : str
        Serial of the piece that spins on its rig just now; empty when none does.
    waiting : int
        Spins on its disk that are not here yet.
    words : str
        What keeps them there, or what is wrong at the rig; empty when nothing is.
    slow : dict of quantity -> float or None
        What its slow channels measure, °C, kPa, rpm; None where an instrument is silent. Empty where it has none.
    """

    spins: str = ""
    waiting: int = 0
    words: str = ""
    slow: dict[str, float | None] = field(default_factory=dict)


@dataclass
class Remote:
    """An agent, as this server knows it.

    Attributes
    ----------
    heard_at_s : float or None
        Monotonic, when it spoke last; None when it did not since this server began.
    agent : str
        Its own name for itself: two that name one rig are told apart by it.
    spin : RemoteSpin or None
        The newest spin whose figures came.
    """

    said: AgentSays = field(default_factory=AgentSays)
    heard_at_s: float | None = None
    agent: str = ""
    spin: RemoteSpin | None = None
    _lock: threading.Lock = field(default_factory=threading.Lock)

    def hear(self, said: AgentSays, agent: str = "") -> None:
        """Take what it says now; raises `LedgerFault` where another agent speaks for this rig."""
        with self._lock:
            self._heard(agent)
            self.said = said

    def stream(self, said: Streamed, agent: str, watch: Callable[[], Watch | None]) -> None:
        """Take the figures of the spin it captures.

        Parameters
        ----------
        watch : callable
            Makes who watches a spin that is new here.

        Raises
        ------
        LedgerFault
            Another agent speaks for this rig, or as `watch` does.
        """
        with self._lock:
            self._heard(agent)
            if self.spin is None or (self.spin.id, self.spin.about.serial) != (
                said.spin,
                said.serial,
            ):
                if self.spin is not None:
                    self.spin.end()
                self.spin = RemoteSpin(said.spin, said.serial, watch())
            ran = self.spin.running
            self.spin.take(said)
            if ran and said.ended:  # it lies there now, and waits
                self.said = replace(self.said, spins="", waiting=max(1, self.said.waiting))

    def _heard(self, agent: str) -> None:
        if self.there and agent != self.agent:
            raise LedgerFault(
                Said("refusal.another_agent_speaks_for"),
                remedy=Said("remedy.give_each_agent_a_rig"),
            )
        self.agent, self.heard_at_s = agent, time.monotonic()

    @property
    def silent_s(self) -> float | None:
        """How long it has said nothing, s; None when it never spoke since this server began."""
        return None if self.heard_at_s is None else time.monotonic() - self.heard_at_s

    @property
    def there(self) -> bool:
        """Whether it spoke just now."""
        silent = self.silent_s
        return silent is not None and silent < SILENT_S

    @property
    def slow(self) -> dict[str, float | None]:
        """What its slow channels measure; what it said too long ago is no value any more."""
        silent = self.silent_s
        new = silent is not None and silent < SLOW_FOR_S
        return {quantity: value if new else None for quantity, value in self.said.slow.items()}

    def stamp(self) -> str:
        """Return what changes when a page that shows the agent shows what was."""
        return f";{self.there};{self.spins};{self.said.waiting};{self.said.words}"

    def spin_of(self, serial: str) -> RemoteSpin | None:
        """Return a piece's spin that it captures just now and tells of; None where there is none."""
        spin = self.spin
        return spin if spin and spin.running and spin.about.serial == serial else None

    def refuse_while_spinning(self) -> None:
        """Raise `LedgerFault` while it captures a spin: it cannot be ended from here."""
        if self.spins:
            raise LedgerFault(
                Said("refusal.the_rig_s_agent_captures", {"spins": self.spins}),
                remedy=Said("remedy.shut_the_air_at_the_rig"),
            )

    @property
    def spins(self) -> str:
        """Serial of the piece that spins there; empty when none does, or nobody knows any more."""
        if self.spin is not None and self.spin.running:
            return self.spin.about.serial
        return self.said.spins if self.there else ""


def by_its_agent(_: str) -> LiveSource:
    """The source of a rig that has an agent: raises `NotThere`, for nobody begins its spins from here."""
    raise NotThere(
        Said("refusal.this_rig_agent_captures_by"),
        remedy=Said("remedy.give_air_at_the_rig"),
    )
