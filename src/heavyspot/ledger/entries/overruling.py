"""Verdicts that a finding made undecided, and an inspector let stand after all."""

from __future__ import annotations

from sqlalchemy import Connection, select, update

from ..store.entries import Entries, Row, add_entry, transaction
from ..store.tables import overrulings, piece_index


class Overrulings(Entries):
    """What inspectors overruled; nothing of the run itself changes."""

    def add(self, entry: Row) -> str:
        """Add an overruling; the piece shows its verdict when the run is its last. Returns its id."""
        with transaction(self._engine) as c:
            added = add_entry(c, overrulings, **entry)
            mine = (piece_index.c.piece_id == entry["piece_id"]) & (
                piece_index.c.number == entry["number"]
            )
            c.execute(update(piece_index).where(mine).values(verdict=entry["verdict"]))
            return added

    def of_piece(self, piece_id: str) -> dict[int, Row]:
        """Return a piece's overrulings by run number, the newest of each."""
        mine = select(overrulings).where(overrulings.c.piece_id == piece_id)
        return {r["number"]: r for r in self._rows(mine.order_by(overrulings.c.id))}


def standing_verdict(c: Connection, piece_id: str, number: int) -> str | None:
    """Return the verdict an inspector let stand for a run; None when nothing was overruled."""
    mine = select(overrulings.c.verdict).where(
        overrulings.c.piece_id == piece_id, overrulings.c.number == number
    )
    return c.execute(mine.order_by(overrulings.c.id.desc()).limit(1)).scalar()
