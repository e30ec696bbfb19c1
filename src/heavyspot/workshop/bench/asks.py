"""What the ledger asks for next of a piece at the bench, and what was asked for once more; shared by all rigs."""

from __future__ import annotations

from dataclasses import dataclass, field
from typing import Literal

from ..cartridge import CartridgeStory, cartridge_story, next_question
from ..job import BuildState, build_state_of
from ..shop import Workshop

Question = Literal[
    "prepare", "grind", "again", "fix", "done", "spinning", "reading", "rescue", "build"
]


@dataclass
class Asks:
    """What is asked of each piece by what is written.

    Parameters
    ----------
    shop : Workshop
    """

    shop: Workshop
    _once_more: dict[str, int] = field(default_factory=dict)
    _asked: dict[str, tuple[int, Question]] = field(default_factory=dict)

    def of(self, serial: str) -> Question:
        """Return what the ledger asks for, kept until its newest link is another; raises as `cartridge_story`."""
        head, _ = self.shop.book.head()
        known = self._asked.get(serial)
        if known is None or known[0] != head:
            story = cartridge_story(self.shop, serial)
            build = build_state_of(self.shop, story.piece, story.model)
            known = self._asked[serial] = (head, self.written(story, build))
        return known[1]

    def written(self, story: CartridgeStory, build: BuildState) -> Question:
        """Return what the ledger asks for, and what was asked for once since its last run."""
        if build.blocks:
            return "build"
        if self._once_more.get(story.piece.serial) == story.number and story.number:
            return "prepare"
        return next_question(story)

    def once_more(self, serial: str, *, wanted: bool = True) -> None:
        """Ask for the set-up of one more spin whatever the last advice says, or no more; nothing is written."""
        story = cartridge_story(self.shop, serial)
        self._asked.pop(serial, None)
        if wanted:
            self._once_more[serial] = story.number
        else:
            self._once_more.pop(serial, None)
