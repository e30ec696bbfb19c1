"""A rig whose samples are captured by an agent beside it, on a computer of its own: what it said last."""

from __future__ import annotations

import time
from dataclasses import dataclass

from ...quantities.errors import NotThere
from ...quantities.said import Said
from ...sources.live import LiveSource

SILENT_S = 30.0
"""An agent that said nothing for so long is taken as away: it speaks every few seconds (ours)."""


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
    """

    spins: str = ""
    waiting: int = 0
    words: str = ""


@dataclass
class Remote:
    """An agent, as this server knows it.

    Attributes
    ----------
    heard_at_s : float or None
        Monotonic, when it spoke last; None when it did not since this server began.
    """

    said: AgentSays = AgentSays()
    heard_at_s: float | None = None

    def hear(self, said: AgentSays) -> None:
        """Take what it says now."""
        self.said, self.heard_at_s = said, time.monotonic()

    @property
    def silent_s(self) -> float | None:
        """How long it has said nothing, s; None when it never spoke since this server began."""
        return None if self.heard_at_s is None else time.monotonic() - self.heard_at_s

    @property
    def there(self) -> bool:
        """Whether it spoke just now."""
        silent = self.silent_s
        return silent is not None and silent < SILENT_S

    def stamp(self) -> str:
        """Return what changes when a page that shows the agent shows what was."""
        return f";{self.there};{self.said.spins};{self.said.waiting};{self.said.words}"

    @property
    def spins(self) -> str:
        """Serial of the piece that spins there; empty when none does, or nobody knows any more."""
        return self.said.spins if self.there else ""


def by_its_agent(_: str) -> LiveSource:
    """The source of a rig that has an agent: raises `NotThere`, for nobody begins its spins from here."""
    raise NotThere(
        Said("refusal.this_rig_agent_captures_by"),
        remedy=Said("remedy.give_air_at_the_rig"),
    )
