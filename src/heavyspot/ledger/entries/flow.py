"""Flow tests of pieces in the ledger."""

from __future__ import annotations

from sqlalchemy import select

from ..find.search import index_pieces
from ..records import Content, FlowTest
from ..store.chain import link_of
from ..store.entries import Entries, add_entry, transaction
from ..store.tables import flow_tests


class FlowTests(Entries):
    """What the flow bench adds to a ledger."""

    def add(self, piece_id: str, rig: str, verdict: str, content: Content, *, by: str) -> str:
        """Add a test; returns its id."""
        values = {"piece_id": piece_id, "rig": rig, "verdict": verdict, "content": content}
        with transaction(self._engine) as c:
            made = add_entry(c, flow_tests, by=by, **values)
            index_pieces(c, [piece_id])
            return made

    def of_piece(self, piece_id: str) -> list[FlowTest]:
        """Return a piece's tests in order."""
        mine = select(flow_tests).where(flow_tests.c.piece_id == piece_id)
        return self._all(FlowTest, mine.order_by(link_of(flow_tests)))
