"""Long work as its template shows it."""

from __future__ import annotations

from dataclasses import dataclass

from ...workshop.keep.long_work import Work
from ..formats import counted, grouped

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
    refused = getattr(result, "refused", 0)
    return WorkView(
        _words(work),
        _lines(work),
        f"{grouped(refused)} not taken: the rows, each with its reason" if refused else "",
        work.download if work.state != "running" and result else "",
    )


def _words(work: Work) -> str:
    if work.state == "running":
        return f"{grouped(work.done)} of {grouped(work.total) if work.total else UNKNOWN}"
    if work.state == "done":
        return "✓ Done."
    if work.state == "stopped":
        return "Stopped."
    return f"✗ {work.fault.message} {work.fault.remedy}" if work.fault else "✗"


def _lines(work: Work) -> tuple[str, ...]:
    result = work.result
    if hasattr(result, "rows"):
        taken = "taken" if work.name.startswith("Taking") else "would be taken"
        pieces = counted(result.pieces, "new piece")
        return (
            f"{grouped(result.taken)} of {grouped(result.rows)} rows {taken}, {pieces}",
            f"{grouped(result.known)} were there already",
        )
    return tuple(getattr(result, "done", ()))
