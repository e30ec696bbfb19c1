"""Entries of the low-speed machines: readings of rotors, corrections, calibrations, proofs, matchings."""

from __future__ import annotations

from sqlalchemy import Table, func, select, update
from sqlalchemy.exc import IntegrityError

from ...quantities.errors import LedgerFault
from ..find.search import index_pieces
from ..store.entries import Entries, Row, add_entry, newest, transaction
from ..store.tables import (
    calibrations,
    matchings,
    piece_index,
    proofs,
    rotor_corrections,
    rotor_runs,
)


class RotorBook(Entries):
    """What the low-speed machines add to a ledger."""

    def add_run(self, entry: Row) -> str:
        """Add a reading of a rotor; returns its id.

        Raises
        ------
        LedgerFault
            Another reading of the piece was recorded at the same moment.
        """
        try:
            with transaction(self._engine) as c:
                run_id = add_entry(c, rotor_runs, **entry)
                last = {k: entry[k] for k in ("number", "verdict", "worst_ratio")}
                mine = piece_index.c.piece_id == entry["piece_id"]
                c.execute(update(piece_index).where(mine).values(**last))
                index_pieces(c, [entry["piece_id"]])
                return run_id
        except IntegrityError:
            raise LedgerFault(
                "Another reading of this piece was recorded at the same moment.",
                remedy="Look at the piece again, then repeat the entry.",
            ) from None

    def add_correction(self, entry: Row) -> str:
        """Add a correction made on a rotor; returns its id."""
        with transaction(self._engine) as c:
            return add_entry(c, rotor_corrections, **entry)

    def add_calibration(self, rig: str, of: str, content: Row, *, by: str) -> str:
        """Add a machine's calibration for a rotor model; the newest one counts."""
        return self._add_of(calibrations, rig, of, content, by)

    def add_proof(self, rig: str, kind: str, content: Row, *, by: str) -> str:
        """Add a proof of a machine; the newest of a kind counts."""
        return self._add_of(proofs, rig, kind, content, by)

    def _add_of(self, table: Table, rig: str, of: str, content: Row, by: str) -> str:
        with transaction(self._engine) as c:
            old = newest(c, table, (table.c.rig == rig) & (table.c.of == of))
            replaces = old["id"] if old else None
            values = {"rig": rig, "of": of, "content": content, "by": by, "replaces": replaces}
            return add_entry(c, table, **values)

    def add_matching(self, content: Row, *, by: str) -> str:
        """Add a proposal of which parts to put together; returns its id."""
        with transaction(self._engine) as c:
            return add_entry(c, matchings, content=content, by=by)

    def runs(self, piece_id: str) -> list[Row]:
        """Return a rotor's readings in order."""
        mine = select(rotor_runs).where(rotor_runs.c.piece_id == piece_id)
        return self._rows(mine.order_by(rotor_runs.c.number))

    def run_count(self, piece_id: str) -> int:
        """Return how many readings a rotor has."""
        mine = select(func.count()).where(rotor_runs.c.piece_id == piece_id)
        with self._engine.connect() as c:
            return int(c.execute(mine).scalar_one())

    def corrections(self, piece_id: str) -> list[Row]:
        """Return a rotor's corrections in order, without those amended since."""
        mine = select(rotor_corrections).where(rotor_corrections.c.piece_id == piece_id)
        rows = self._rows(mine.order_by(rotor_corrections.c.id))
        amended = {r["replaces"] for r in rows}
        return [r for r in rows if r["id"] not in amended]

    def calibration(self, rig: str, of: str) -> Row | None:
        """Return a machine's newest calibration for a rotor model, or None."""
        with self._engine.connect() as c:
            return newest(c, calibrations, (calibrations.c.rig == rig) & (calibrations.c.of == of))

    def proofs(self, rig: str) -> list[Row]:
        """Return the newest proof of each kind of a machine."""
        rows = self._rows(select(proofs).where(proofs.c.rig == rig).order_by(proofs.c.id))
        return list({r["of"]: r for r in rows}.values())

    def matching(self, id_: str) -> Row | None:
        """Return a matching, or None."""
        with self._engine.connect() as c:
            return newest(c, matchings, matchings.c.id == id_)

    def newest_matchings(self, most: int = 20) -> list[Row]:
        """Return the newest matchings, newest first."""
        return self._rows(select(matchings).order_by(matchings.c.id.desc()).limit(most))
