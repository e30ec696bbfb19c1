"""Checks of rigs in the ledger, and the runs their health is told from."""

from __future__ import annotations

import itertools
from typing import Any

from sqlalchemy import select

from ..store.entries import Entries, Row, add_entry, transaction
from ..store.tables import cuts, piece_index, rig_checks, runs


class RigBook(Entries):
    """What is written of a rig beside its record."""

    def add(self, rig: str, kind: str, content: Row, *, by: str) -> str:
        """Add a check of a kind (``shaker``, ``study``); returns its id."""
        with transaction(self._engine) as c:
            return add_entry(c, rig_checks, rig=rig, kind=kind, content=content, by=by)

    def checks(self, rig: str, kind: str) -> list[Row]:
        """Return a rig's checks of a kind, oldest first."""
        mine = select(rig_checks).where(rig_checks.c.rig == rig, rig_checks.c.kind == kind)
        return self._rows(mine.order_by(rig_checks.c.id))

    def spins(
        self, *, rig: str = "", serials: list[str] | None = None, since: str = ""
    ) -> list[Row]:
        """Return runs that were judged, without their curves, in order: of a rig, of pieces, from a time on."""
        query = select(
            runs.c.piece_id, piece_index.c.serial, runs.c.number, runs.c.at, runs.c.by, runs.c.rig,
            runs.c.worst_ratio, runs.c.result,
        ).join(piece_index, piece_index.c.piece_id == runs.c.piece_id)  # fmt: skip
        query = query.where(runs.c.worst_ratio.is_not(None))
        if rig:
            query = query.where(runs.c.rig == rig)
        if serials is not None:
            query = query.where(piece_index.c.serial.in_(serials))
        if since:
            query = query.where(runs.c.at >= since)
        return self._rows(query.order_by(runs.c.id))

    def heard(self, model: str, rig: str, *, since: str = "", most: int = 40) -> list[Row]:
        """Return what the newest judged runs of a model on a rig heard, newest first; since a service.

        Each has ``piece_id``, ``number`` and ``heard``: floor and whirl, or None in older entries.
        """
        query = (
            select(runs.c.piece_id, runs.c.number, runs.c.result["heard"].label("heard"))
            .join(piece_index, piece_index.c.piece_id == runs.c.piece_id)
            .where(piece_index.c.model == model, runs.c.rig == rig, runs.c.verdict != "undecided")
            .order_by(runs.c.id.desc())
        )
        if since:
            query = query.where(runs.c.at >= since)
        return self._rows(query.limit(most))

    def measured_on_both(self, first: str, second: str) -> list[dict[str, Any]]:
        """Return pieces spun on both rigs with no cut between: the nearest such pair of runs of each.

        Each has ``serial`` and the ratio on the first and second rig.
        """
        on = select(runs.c.piece_id).where(runs.c.rig == first)
        both = (
            select(runs.c.piece_id).where(runs.c.rig == second, runs.c.piece_id.in_(on)).distinct()
        )
        rows = self._rows(
            select(
                runs.c.piece_id, piece_index.c.serial, runs.c.number, runs.c.rig, runs.c.worst_ratio
            )
            .join(piece_index, piece_index.c.piece_id == runs.c.piece_id)
            .where(runs.c.piece_id.in_(both), runs.c.worst_ratio.is_not(None))
            .order_by(runs.c.piece_id, runs.c.number)
        )
        made = self._rows(
            select(cuts.c.piece_id, cuts.c.after_run).where(
                cuts.c.kind == "made", cuts.c.unbalance_gmm > 0, cuts.c.piece_id.in_(both)
            )
        )
        ground = {(r["piece_id"], r["after_run"]) for r in made}
        pairs: dict[str, dict[str, Any]] = {}
        for a, b in itertools.pairwise(rows):
            uncut = (a["piece_id"], a["number"]) not in ground
            if a["piece_id"] == b["piece_id"] and {a["rig"], b["rig"]} == {first, second} and uncut:
                one, two = (a, b) if a["rig"] == first else (b, a)
                pairs[a["piece_id"]] = {
                    "serial": a["serial"], "first": one["worst_ratio"], "second": two["worst_ratio"],
                }  # fmt: skip
        return list(pairs.values())
