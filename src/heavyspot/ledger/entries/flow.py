"""Flow tests of pieces in the ledger."""

from __future__ import annotations

from sqlalchemy import select

from ..find.search import index_pieces
from ..store.entries import Entries, Row, add_entry, transaction
from ..store.tables import flow_tests


class FlowBook(Entries):
    """What the flow bench adds to a ledger."""

    def add(self, piece_id: str, rig: str, verdict: str, content: Row, *, by: str) -> str:
        """Add a test; returns its id."""
        values = {"piece_id": piece_id, "rig": rig, "verdict": verdict, "content": content}
        with transaction(self._engine) as c:
            made = add_entry(c, flow_tests, by=by, **values)
            index_pieces(c, [piece_id])
            return made

    def of_piece(self, piece_id: str) -> list[Row]:
        """Return a piece's tests in order."""
        mine = select(flow_tests).where(flow_tests.c.piece_id == piece_id)
        return self._rows(mine.order_by(flow_tests.c.id))
