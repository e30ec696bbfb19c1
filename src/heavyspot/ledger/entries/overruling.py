"""Verdicts that a finding made undecided, and an inspector let stand after all."""

from __future__ import annotations

from sqlalchemy import select, update

from ..records import Overruling
from ..store.entries import Entries, add_entry, transaction
from ..store.tables import overrulings, piece_index


class Overrulings(Entries):
    """What inspectors overruled; nothing of the run itself changes."""

    def of_piece(self, piece_id: str) -> list[Overruling]:
        """Return what was let stand of a piece, in order."""
        mine = select(overrulings).where(overrulings.c.piece_id == piece_id)
        return self._all(Overruling, mine.order_by(overrulings.c.id))

    def add(self, entry: Overruling) -> str:
        """Add an overruling; the piece shows its verdict when the run is its last. Returns its id."""
        with transaction(self._engine) as c:
            added = add_entry(c, overrulings, **entry.values())
            mine = (piece_index.c.piece_id == entry.piece_id) & (
                piece_index.c.number == entry.number
            )
            c.execute(update(piece_index).where(mine).values(verdict=entry.verdict))
            return added
