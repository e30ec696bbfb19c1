"""Recordings read anew: what was asked, each result beside the run it is of, and what it changes."""

from __future__ import annotations

from collections.abc import Iterable
from typing import Any

from sqlalchemy import Text, cast, func, select

from ..records import Content, Reread, Rereading, RereadResult, RunToReread, Sheet
from ..store.chain import link_of
from ..store.entries import Entries, add_entry, add_records, transaction
from ..store.tables import piece_index, rereadings, rereads, retired, runs, sheets


class Rereads(Entries):
    """Rereads and their results; the runs themselves are never touched."""

    def begin(self, content: Content, *, by: str) -> str:
        """Add a reread; returns its id."""
        with transaction(self._engine) as c:
            return add_entry(c, rereads, content=content, by=by)

    def find(self, reread_id: str) -> Reread | None:
        """Return a reread, or None."""
        rows = self._all(Reread, select(rereads).where(rereads.c.id == reread_id))
        return rows[0] if rows else None

    def all(self, most: int = 50) -> list[Reread]:
        """Return the newest rereads, newest first."""
        return self._all(Reread, select(rereads).order_by(rereads.c.id.desc()).limit(most))

    def count(self, selection: Content) -> int:
        """Return how many runs a selection holds."""
        query = _selected(select(func.count()).select_from(runs), selection)
        return self._count(query)

    def done(self, reread_id: str) -> int:
        """Return how many results a reread has."""
        mine = select(func.count()).where(rereadings.c.reread_id == reread_id)
        return self._count(mine)

    def next(
        self, reread_id: str, selection: Content, *, after: str, most: int
    ) -> list[RunToReread]:
        """Return the next runs of a selection that have no result yet, in the order they were made.

        Parameters
        ----------
        after : str
            Run identifier to go on behind; empty from the start.
        """
        columns = (
            runs.c.id, runs.c.piece_id, runs.c.number,
            runs.c.recording, runs.c.recording_sha256, runs.c.beside_sha256,
            cast(runs.c.conditions, Text).label("conditions"), runs.c.verdict, runs.c.worst_ratio,
        )  # fmt: skip
        have = select(rereadings.c.id).where(
            rereadings.c.reread_id == reread_id, rereadings.c.run_id == runs.c.id
        )
        query = _selected(select(*columns), selection).where(runs.c.id > after, ~have.exists())
        return self._all(RunToReread, query.order_by(runs.c.id).limit(most))

    def add(self, results: Iterable[Rereading]) -> None:
        """Add results, all or nothing."""
        with transaction(self._engine) as c:
            add_records(c, rereadings, results)

    def results(
        self, reread_id: str, *, changed: bool = False, most: int | None = None
    ) -> list[RereadResult]:
        """Return results with the piece's serial, customer and what was said before, in order.

        Parameters
        ----------
        changed : bool
            Only pieces that left with a pass which no longer stands: their last run passed then, and does not now.
        """
        query = (
            select(
                rereadings.c.run_id, rereadings.c.verdict, rereadings.c.worst_ratio, rereadings.c.content,
                runs.c.number, runs.c.at, runs.c.rig, runs.c.verdict.label("was"),
                runs.c.worst_ratio.label("was_ratio"), piece_index.c.serial, piece_index.c.customer,
                piece_index.c.invoice, piece_index.c.piece_id,
            )
            .join(runs, runs.c.id == rereadings.c.run_id)
            .join(piece_index, piece_index.c.piece_id == runs.c.piece_id)
            .where(rereadings.c.reread_id == reread_id)
            .order_by(rereadings.c.run_id)
        )  # fmt: skip
        if changed:
            query = query.where(
                runs.c.verdict == "pass",
                rereadings.c.verdict.in_(("fail", "undecided")),
                runs.c.number == piece_index.c.number,
            )
        return self._all(RereadResult, query.limit(most))

    def sheets_of(self, piece_ids: list[str]) -> dict[str, str]:
        """Return piece to the number of its newest sheet."""
        found: dict[str, str] = {}
        for at in range(0, len(piece_ids), 500):
            mine = sheets.c.piece_id.in_(piece_ids[at : at + 500])
            for r in self._all(Sheet, select(sheets).where(mine).order_by(link_of(sheets))):
                found[r.piece_id] = r.number
        return found


def _selected(query: Any, selection: Content) -> Any:
    """Narrow runs to a selection: rig, model, since, until; recordings that were removed are left out."""
    gone = select(retired.c.recording)
    query = query.where(runs.c.recording != "", runs.c.recording.not_in(gone))
    if selection.get("rig"):
        query = query.where(runs.c.rig == selection["rig"])
    if selection.get("since"):
        query = query.where(runs.c.at >= selection["since"])
    if selection.get("until"):
        query = query.where(runs.c.at <= selection["until"] + "~")
    if selection.get("up_to"):
        query = query.where(runs.c.id <= selection["up_to"])
    if selection.get("model"):
        of = select(piece_index.c.piece_id).where(piece_index.c.model == selection["model"])
        query = query.where(runs.c.piece_id.in_(of))
    return query
