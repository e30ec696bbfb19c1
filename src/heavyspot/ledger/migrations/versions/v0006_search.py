"""The search box's lines."""

from __future__ import annotations

import sqlalchemy as sa
from alembic import op

from heavyspot.ledger.search import index_pieces, make_tables
from heavyspot.ledger.tables import piece_index

revision = "0006"
down_revision = "0005"
branch_labels = None
depends_on = None


def upgrade() -> None:
    """Make the tables and a line for every piece, in the order they came."""
    c = op.get_bind()
    make_tables(c)
    known = [
        r.piece_id
        for r in c.execute(sa.select(piece_index.c.piece_id).order_by(piece_index.c.piece_id))
    ]
    index_pieces(c, known)


def downgrade() -> None:
    """Not offered: a ledger is never cut back. Restore a backup instead."""
    raise NotImplementedError
