"""Rows of the old book, the day each piece came in, pins, who saw what; the search lines of all pieces."""

from __future__ import annotations

import sqlalchemy as sa
from alembic import op

from heavyspot.ledger.find.search import index_pieces
from heavyspot.ledger.migrations.versions.v0001_first import entry, piece_link
from heavyspot.ledger.store.tables import piece_index

revision = "0007"
down_revision = "0006"
branch_labels = None
depends_on = None


def upgrade() -> None:
    """Add the tables and the column, then make each piece's line in the order they came."""
    entry(
        "old_rows",
        *piece_link("old_rows"),
        sa.Column("digest", sa.String(64), nullable=False),
        sa.Column("content", sa.JSON, nullable=False),
        sa.UniqueConstraint("digest", name="uq_old_rows_digest"),
    )
    op.create_index("ix_old_rows_piece_id", "old_rows", ["piece_id"])
    entry(
        "pins",
        sa.Column("name", sa.String(120), nullable=False),
        sa.Column("pin_hash", sa.String(200), nullable=False),
    )
    op.create_index("ix_pins_name", "pins", ["name"])
    op.create_table(
        "looks",
        sa.Column("id", sa.String(36), nullable=False),
        sa.Column("at", sa.String(32), nullable=False),
        sa.Column("by", sa.String(120), nullable=False),
        sa.Column("what", sa.String(16), nullable=False),
        sa.Column("of", sa.String(200), nullable=False),
        sa.PrimaryKeyConstraint("id", name="pk_looks"),
    )
    op.create_index("ix_looks_of", "looks", ["of"])
    day = sa.Column("day", sa.String(10), nullable=False, server_default="")
    op.add_column("piece_index", day)
    op.create_index("ix_piece_index_invoice", "piece_index", ["invoice"])
    c = op.get_bind()
    c.execute(
        sa.text(
            "update piece_index set day ="
            " (select substr(at, 1, 10) from pieces where pieces.id = piece_index.piece_id)"
        )
    )
    if c.dialect.name == "sqlite":  # the next free line at a glance
        c.execute(sa.text("create unique index ix_search_line_line on search_line (line)"))
    known = sa.select(piece_index.c.piece_id).order_by(piece_index.c.piece_id)
    index_pieces(c, [r.piece_id for r in c.execute(known)])


def downgrade() -> None:
    """Not offered: a ledger is never cut back. Restore a backup instead."""
    raise NotImplementedError
