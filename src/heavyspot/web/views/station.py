"""What two buildings disagree about, in words."""

from __future__ import annotations

from ...quantities.said import Said, catalogue
from ...workshop.records import Content
from ..formats import counted
from ..speaking import spoken, told


def held_words(why: str, model: str, entries: int, runs: int) -> str:
    """Return why another building's entries for a piece wait, and how many there are."""
    reason = told("held_says.serial", model=model) if why == "serial" else told("held_says.spun")
    waiting = {"entries": counted(entries, "entry"), "runs": counted(runs, "run")}
    return f"{reason} {told('held_says.wait', **waiting)}"


def clash_words(content: Content) -> str:
    """Return what was changed here and there at the same time."""
    if content.get("fields"):
        here, there = content["here"], content["there"]
        each = "; ".join(
            told("clash_says.field", field=f, here=str(here[f]), there=str(there[f]))
            for f in content["fields"]
        )
        return f"{each}. {told('clash_says.later')}"
    return content.get("why") or told("clash_says.both")


def clash_kind(kind: str) -> str:
    """Return what sort of entry was changed in two buildings."""
    said = Said(f"audit_of.{kind}s")
    return spoken(said) if said.code in catalogue("en") else kind
