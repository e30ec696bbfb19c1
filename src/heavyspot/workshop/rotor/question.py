"""What the bench asks next of a rotor, as the ledger has it."""

from __future__ import annotations

from typing import Literal

from .kept import RotorStory

Question = Literal["measure", "correct", "done"]


def next_question(story: RotorStory) -> Question:
    """Return what the technician is to do now: measure, correct as advised, or nothing more."""
    last = story.last
    if last is None or story.corrected_since(last.number):
        return "measure"
    return "done" if last.reading.verdict == "pass" else "correct"
