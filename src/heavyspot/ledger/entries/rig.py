"""Rigs in the ledger, their checks, and the runs their health is told from."""

from __future__ import annotations

import itertools

from sqlalchemy import func, select

from ..records import Content, Cut, HeardRun, JudgedRun, OnBothRigs, Rig, RigCheck
from ..store.chain import link_of
from ..store.entries import Entries, add_entry, newest, refuse_stale, standing, transaction
from ..store.tables import cuts, piece_index, rig_checks, rigs, runs


class Rigs(Entries):
    """Rigs, each change a new version, and what is written of them beside their record."""

    def add(self, name: str, content: Content, *, by: str = "", seen: str | None = None) -> str:
        """Add a rig, or a new version of it; returns its id.

        Parameters
        ----------
        seen : str, optional
            Identifier of the version it was made from; empty: there was none.

        Raises
        ------
        Stale
            Somebody else made a version meanwhile.
        """
        with transaction(self._engine) as c:
            old = newest(c, rigs, rigs.c.name == name)
            refuse_stale(old, seen)
            replaces = old["id"] if old else None
            return add_entry(c, rigs, name=name, content=content, by=by, replaces=replaces)

    def newest(self, name: str) -> Rig | None:
        """Return the newest version of a rig, or None."""
        return self._newest(Rig, rigs, rigs.c.name == name)

    def all(self) -> list[Rig]:
        """Return the newest version of every rig, by name."""
        last = select(func.max(rigs.c.id)).group_by(rigs.c.name)
        return self._all(Rig, select(rigs).where(rigs.c.id.in_(last)).order_by(rigs.c.name))

    def names(self) -> list[str]:
        """Return the names of all rigs."""
        with self._engine.connect() as c:
            return [r[0] for r in c.execute(select(rigs.c.name).distinct().order_by(rigs.c.name))]

    def add_check(self, rig: str, kind: str, content: Content, *, by: str) -> str:
        """Add a check of a kind (``shaker``, ``study``); returns its id."""
        with transaction(self._engine) as c:
            return add_entry(c, rig_checks, rig=rig, kind=kind, content=content, by=by)

    def checks(self, rig: str, kind: str) -> list[RigCheck]:
        """Return a rig's checks of a kind, oldest first."""
        mine = select(rig_checks).where(rig_checks.c.rig == rig, rig_checks.c.kind == kind)
        return self._all(RigCheck, mine.order_by(link_of(rig_checks)))

    def spins(
        self, *, rig: str = "", serials: list[str] | None = None, since: str = ""
    ) -> list[JudgedRun]:
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
        return self._all(JudgedRun, query.order_by(runs.c.id))

    def heard(self, model: str, rig: str, *, since: str = "", most: int = 40) -> list[HeardRun]:
        """Return what the newest judged runs of a model on a rig heard, newest first; since a service."""
        query = (
            select(runs.c.piece_id, runs.c.number, runs.c.result["heard"].label("heard"))
            .join(piece_index, piece_index.c.piece_id == runs.c.piece_id)
            .where(piece_index.c.model == model, runs.c.rig == rig, runs.c.verdict != "undecided")
            .order_by(runs.c.id.desc())
        )
        if since:
            query = query.where(runs.c.at >= since)
        return self._all(HeardRun, query.limit(most))

    def measured_on_both(self, first: str, second: str) -> list[OnBothRigs]:
        """Return pieces spun on both rigs with no cut between: the nearest such pair of runs of each."""
        on = select(runs.c.piece_id).where(runs.c.rig == first)
        both = (
            select(runs.c.piece_id).where(runs.c.rig == second, runs.c.piece_id.in_(on)).distinct()
        )
        columns = (runs.c.piece_id, piece_index.c.serial, runs.c.number, runs.c.at, runs.c.by)
        rows = self._all(
            JudgedRun,
            select(*columns, runs.c.rig, runs.c.worst_ratio, runs.c.result)
            .join(piece_index, piece_index.c.piece_id == runs.c.piece_id)
            .where(runs.c.piece_id.in_(both), runs.c.worst_ratio.is_not(None))
            .order_by(runs.c.piece_id, runs.c.number),
        )
        made = self._all(Cut, select(cuts).where(cuts.c.kind == "made", cuts.c.piece_id.in_(both)))
        ground = {(r.piece_id, r.after_run) for r in standing(made)}
        pairs: dict[str, OnBothRigs] = {}
        for a, b in itertools.pairwise(rows):
            uncut = (a.piece_id, a.number) not in ground
            if a.piece_id == b.piece_id and {a.rig, b.rig} == {first, second} and uncut:
                one, two = (a, b) if a.rig == first else (b, a)
                pairs[a.piece_id] = OnBothRigs(
                    serial=a.serial, first=one.worst_ratio, second=two.worst_ratio
                )
        return list(pairs.values())
