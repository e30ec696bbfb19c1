"""What two buildings disagree about, in words."""

from __future__ import annotations

from ...workshop.records import Content
from ..formats import counted


def held_words(why: str, model: str, entries: int, runs: int) -> str:
    """Return why another building's entries for a piece wait, and how many there are."""
    reason = (
        f"Another building made a piece with this serial too ({model})."
        if why == "serial"
        else "Two buildings have spun this piece without knowing of each other."
    )
    waiting = counted(entries, "entry", "entries")
    return f"{reason} {waiting} of theirs, {counted(runs, 'run')} among them, wait."


def clash_words(content: Content) -> str:
    """Return what was changed here and there at the same time."""
    if content.get("fields"):
        here, there = content["here"], content["there"]
        told = "; ".join(
            f"{f} is “{here[f]}” here and “{there[f]}” there" for f in content["fields"]
        )
        return f"{told}. The later one stands; amend it where it is wrong."
    return content.get("why") or "changed here and there. The later one stands; both are kept."
