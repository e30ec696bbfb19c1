"""Checks of a rig as they are kept: shaker and study, read back as values."""

from __future__ import annotations

from dataclasses import dataclass, field

from ...balance.limits import Worst
from ...ledger.book import Book
from ...ledger.records import Content, RigCheck
from ..shop import Workshop
from ..stored import stored


@dataclass(frozen=True)
class ShakerCheck:
    """What a rig read of a hand-held shaker, m/s² rms; later readings times `gain` would be right."""

    reads_m_s2: float
    deviation: float
    good: bool
    gain: float


@dataclass(frozen=True)
class ShakerKept:
    """A shaker check of the ledger."""

    at: str
    by: str
    check: ShakerCheck


@dataclass(frozen=True)
class StudyKept:
    """What a gauge study of the ledger says of repeatability, as a share of the mean reading.

    `read` is operator to trials to pieces.
    """

    repeat_share: float
    read: dict[str, list[list[float]]] = field(default_factory=dict)

    @property
    def degrees(self) -> float | None:
        """Degrees of freedom behind it: all repeats beyond the first of each; None when not kept."""
        beyond = sum(
            len(t) * (len(trials) - 1) for trials in self.read.values() for t in trials[:1]
        )
        return float(beyond) if beyond else None


def shaker_checks(book: Book, rig: str) -> list[ShakerKept]:
    """Return a rig's shaker checks, oldest first."""
    return [
        ShakerKept(c.at, c.by, stored(ShakerCheck, c.content, what=f"A shaker check of {rig}"))
        for c in book.rigs.checks(rig, "shaker")
    ]


def newest_study(book: Book, rig: str) -> StudyKept | None:
    """Return a rig's newest gauge study, or None."""
    studies = book.rigs.checks(rig, "study")
    return stored(StudyKept, studies[-1].content, what=f"The study of {rig}") if studies else None


def shaker_checks_of(shop: Workshop, rig: str) -> list[ShakerKept]:
    """Return a rig's shaker checks, oldest first."""
    return shaker_checks(shop.book, rig)


def studies_of(shop: Workshop, rig: str) -> list[RigCheck]:
    """Return a rig's gauge studies as they were kept, oldest first."""
    return shop.book.rigs.checks(rig, "study")


def worst_of(result: Content) -> Worst | None:
    """Return the worst point of a run's result, or None when nothing was judged."""
    worst = result.get("worst")
    return stored(Worst, worst, what="A run's worst point") if worst else None
