"""A piece's story as its template shows it."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass

from ...workshop.job.documents import Attached
from ...workshop.job.story import Event
from ..speaking import language, told


@dataclass(frozen=True)
class EventLine:
    """One line of the story.

    Attributes
    ----------
    number : str
        Of the run, reading or test; empty when it has none.
    look_at : bool
        Whether the number leads to the run.
    """

    kind: str
    at: str
    title: str
    number: str
    look_at: bool
    verdict: str
    text: str
    by: str
    mark: str = "waits"


MARKS = {
    "mailed": "good",
    "sheet": "good", "build": "good", "returned": "person", "claim": "person", "signed": "person",
    "overruled": "person", "cut": "cut", "corrected": "cut",
}  # fmt: skip
"""The sign of each kind of event; a run's is its verdict's."""

VERDICT_MARKS = {"pass": "good", "fail": "over", "undecided": "person"}


@dataclass(frozen=True)
class PaperView:
    """A photo or document: where it is, what it is called, and what was said of it."""

    place: str
    name: str
    text: str
    is_picture: bool


def event_lines(events: Iterable[Event]) -> list[EventLine]:
    """Return the events as lines, in their order."""
    return [
        EventLine(
            e.kind,
            e.at,
            told(f"story_event.{e.kind}"),
            str(e.number or ""),
            e.kind == "run",
            e.verdict,
            e.words(language()),
            e.by,
            _mark(e),
        )
        for e in events
    ]


def _mark(e: Event) -> str:
    if not e.well:
        return "person"
    return VERDICT_MARKS.get(e.verdict) or MARKS.get(e.kind, "waits")


def paper_views(
    papers: Iterable[Attached], serial_in_path: str, pictures: Iterable[str]
) -> list[PaperView]:
    """Return what was attached, pictures told from documents by the ending they were kept under."""
    endings = tuple(f".{ending}" for ending in pictures)
    return [
        PaperView(
            f"/papers/{p.id}/{serial_in_path}",
            p.document.file,
            p.document.text,
            p.document.kept_as.endswith(endings),
        )
        for p in papers
    ]
