"""What waits, by due date, and what passed today."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import datetime, timedelta

from ...ledger.records import Job, Piece
from ...quantities.clock import utc_text
from ..cartridge import cartridge_story
from ..rig import all_rigs
from ..shop import Workshop

STALE = timedelta(days=60)
"""A job without a due date, older than this, is not said to wait any more."""


@dataclass(frozen=True)
class Waiting:
    """A job of which something is not done.

    Attributes
    ----------
    done : tuple of bool
        Of each of its pieces: whether it has passed.
    """

    job: Job
    pieces: tuple[Piece, ...]

    @property
    def done(self) -> tuple[bool, ...]:
        """Whether each has passed."""
        return tuple(p.verdict == "pass" for p in self.pieces)


@dataclass(frozen=True)
class Passed:
    """A piece that passed today: its highest ratio to the limit at first and now."""

    serial: str
    first: float
    last: float
    limit_g: float
    cuts: int


def waiting(shop: Workshop, *, now: datetime) -> list[Waiting]:
    """Return the jobs that wait, by due date; those without one last."""
    ids = shop.book.jobs.open_jobs(since=utc_text(now - STALE))
    found = []
    for job in (shop.book.jobs.job(i) for i in ids):
        if job is not None:
            found.append(Waiting(job, tuple(shop.book.jobs.pieces(job_id=job.id))))
    return sorted(found, key=lambda w: (w.job.due or "9999", w.job.id))


def next_piece(shop: Workshop, piece: Piece, *, now: datetime) -> Piece | None:
    """Return the cartridge to be spun after one: of its own job, else of the job due first.

    What was never spun goes before what is begun. Pieces that others have on a rig are not known here; whoever
    takes it sees at the bench what stands.
    """
    jobs = waiting(shop, now=now)
    jobs.sort(key=lambda w: w.job.id != piece.job_id)  # stable: by due date else
    for begun in (False, True):
        for w in jobs:
            for p in w.pieces:
                open_ = p.verdict != "pass" and bool(p.number) == begun
                if open_ and p.id != piece.id and p.kind == "cartridge":
                    return p
    return None


def passed_since(shop: Workshop, *, since: datetime) -> list[Passed]:
    """Return the customers' cartridges whose last run since then passed, in order."""
    masters = {r.master for r in all_rigs(shop).values()}
    found = []
    ids = shop.book.cartridges.spun_since(utc_text(since))
    for piece in sorted(shop.book.jobs.pieces_by_id(ids), key=lambda p: ids.index(p.id)):
        if piece.verdict != "pass" or piece.serial in masters:
            continue
        story = cartridge_story(shop, piece.serial)
        worst = [r.result.worst for r in story.runs if r.result.worst]
        if worst:
            found.append(
                Passed(
                    piece.serial,
                    worst[0].ratio,
                    worst[-1].ratio,
                    worst[-1].limit_g,
                    len(story.made),
                )
            )
    return found
