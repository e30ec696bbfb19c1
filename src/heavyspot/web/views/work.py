"""Long work as its template shows it."""

from __future__ import annotations

from dataclasses import dataclass

from ...workshop.keep.long_work import Work
from ..formats import grouped
from ..speaking import refused, told

UNKNOWN = "…"


@dataclass(frozen=True)
class WorkView:
    """How far long work is, and what came of it.

    Attributes
    ----------
    words : str
        Its state in words.
    lines : tuple of str
        What it has done.
    refused : str
        What was not taken, leading to the list; empty when nothing was refused.
    download : str
        Where what it made can be had; empty while there is nothing.
    """

    words: str
    lines: tuple[str, ...]
    refused: str
    download: str


def work_view(work: Work) -> WorkView:
    """Return long work as its page shows it."""
    result = work.result
    not_taken = getattr(result, "refused", 0)
    return WorkView(
        _words(work),
        _lines(work),
        told("work.not_taken", number=not_taken) if not_taken else "",
        work.download if work.state != "running" and result else "",
    )


def _words(work: Work) -> str:
    if work.state == "running":
        total = grouped(work.total) if work.total else UNKNOWN
        return told("work.of", done=work.done, total=total)
    if work.state == "done":
        return told("work.done")
    if work.state == "stopped":
        return told("work.stopped")
    return f"✗ {refused(work.fault)}" if work.fault else "✗"


def _lines(work: Work) -> tuple[str, ...]:
    result = work.result
    if hasattr(result, "rows"):
        taken = work.name.startswith("Taking")
        many = {"taken": result.taken, "rows": result.rows, "pieces": result.pieces}
        return (
            told("work.rows", **many) if taken else told("work.would", **many),
            told("work.known", number=result.known),
        )
    return tuple(getattr(result, "done", ()))
