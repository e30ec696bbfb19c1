"""Entries of the low-speed machines: readings of rotors, corrections, calibrations, proofs, matchings."""

from __future__ import annotations

from sqlalchemy import Table, func, select, update
from sqlalchemy.exc import IntegrityError

from ...quantities.errors import Stale
from ...quantities.said import Said
from ..find.search import index_pieces
from ..records import Content, Matching, OfMachine, RotorCorrection, RotorRun
from ..store.chain import link_of
from ..store.entries import Entries, add_entry, add_records, newest, transaction
from ..store.tables import (
    calibrations,
    matchings,
    piece_index,
    proofs,
    rotor_corrections,
    rotor_runs,
)


class Rotors(Entries):
    """What the low-speed machines add to a ledger."""

    def add_run(self, run: RotorRun) -> str:
        """Add a reading of a rotor; returns its id.

        Raises
        ------
        Stale
            Another reading of the piece was recorded at the same moment.
        """
        try:
            with transaction(self._engine) as c:
                run_id = add_records(c, rotor_runs, [run])[0]
                mine = piece_index.c.piece_id == run.piece_id
                last = {"number": run.number, "verdict": run.verdict}
                c.execute(
                    update(piece_index).where(mine).values(worst_ratio=run.worst_ratio, **last)
                )
                index_pieces(c, [run.piece_id])
                return run_id
        except IntegrityError:
            raise Stale(
                Said("refusal.another_reading_of_this_piece"),
                remedy=Said("remedy.look_at_the_piece_again"),
            ) from None

    def add_corrections(self, made: list[RotorCorrection]) -> list[str]:
        """Add corrections made on a rotor, all or nothing; returns their ids."""
        with transaction(self._engine) as c:
            return add_records(c, rotor_corrections, made)

    def add_calibration(self, rig: str, of: str, content: Content, *, by: str) -> str:
        """Add a machine's calibration for a rotor model; the newest one counts."""
        return self._add_of(calibrations, rig, of, content, by)

    def add_proof(self, rig: str, kind: str, content: Content, *, by: str) -> str:
        """Add a proof of a machine; the newest of a kind counts."""
        return self._add_of(proofs, rig, kind, content, by)

    def _add_of(self, table: Table, rig: str, of: str, content: Content, by: str) -> str:
        with transaction(self._engine) as c:
            old = newest(c, table, (table.c.rig == rig) & (table.c.of == of))
            replaces = old["id"] if old else None
            values = {"rig": rig, "of": of, "content": content, "by": by, "replaces": replaces}
            return add_entry(c, table, **values)

    def add_matching(self, content: Content, *, by: str) -> str:
        """Add a proposal of which parts to put together; returns its id."""
        with transaction(self._engine) as c:
            return add_entry(c, matchings, content=content, by=by)

    def runs(self, piece_id: str) -> list[RotorRun]:
        """Return a rotor's readings in order."""
        mine = select(rotor_runs).where(rotor_runs.c.piece_id == piece_id)
        return self._all(RotorRun, mine.order_by(rotor_runs.c.number))

    def run_count(self, piece_id: str) -> int:
        """Return how many readings a rotor has."""
        mine = select(func.count()).where(rotor_runs.c.piece_id == piece_id)
        return self._count(mine)

    def corrections(self, piece_id: str) -> list[RotorCorrection]:
        """Return a rotor's corrections in order, without those amended since."""
        mine = select(rotor_corrections).where(rotor_corrections.c.piece_id == piece_id)
        rows = self._all(RotorCorrection, mine.order_by(link_of(rotor_corrections)))
        amended = {r.replaces for r in rows}
        return [r for r in rows if r.id not in amended]

    def calibration(self, rig: str, of: str) -> OfMachine | None:
        """Return a machine's newest calibration for a rotor model, or None."""
        mine = (calibrations.c.rig == rig) & (calibrations.c.of == of)
        return self._newest(OfMachine, calibrations, mine)

    def proofs(self, rig: str) -> list[OfMachine]:
        """Return the newest proof of each kind of a machine."""
        query = select(proofs).where(proofs.c.rig == rig).order_by(link_of(proofs))
        return list({r.of: r for r in self._all(OfMachine, query)}.values())

    def matching(self, id_: str) -> Matching | None:
        """Return a matching, or None."""
        return self._newest(Matching, matchings, matchings.c.id == id_)

    def newest_matchings(self, most: int = 20) -> list[Matching]:
        """Return the newest matchings, newest first."""
        return self._all(Matching, select(matchings).order_by(matchings.c.id.desc()).limit(most))
