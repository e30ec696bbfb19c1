"""What the bench asks next of a cartridge, as the ledger has it."""

from __future__ import annotations

from typing import Literal

from .story import CartridgeStory

Question = Literal["prepare", "grind", "again", "fix", "done"]

ASKED_AFTER: dict[str, Question] = {
    "cut": "grind",
    "spin_again": "again",
    "fix": "fix",
    "stop": "done",
}
"""What is asked after each advice, until something was done about it."""


def next_question(story: CartridgeStory) -> Question:
    """Return what the technician is to do now: spin, or what the last run's advice asks for."""
    last = story.last
    if last is None or any(c.after_run >= last.number for c in story.made):
        return "prepare"
    if last.result.overruled:
        return "done"
    return ASKED_AFTER[last.result.advice.action]
