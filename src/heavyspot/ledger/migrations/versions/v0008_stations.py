"""Stores of other buildings: who they are, what arrived, what is held for a person to decide."""

from __future__ import annotations

import sqlalchemy as sa
from alembic import op

from heavyspot.ledger.migrations.versions.v0001_first import entry
from heavyspot.ledger.store.entries import now_utc
from heavyspot.ledger.store.identity import new_id

revision = "0008"
down_revision = "0007"
branch_labels = None
depends_on = None


def upgrade() -> None:
    """Add the tables, and give this store a name of its own."""
    text, whole = sa.String, sa.Integer
    entry(
        "stations",
        sa.Column("name", text(40), nullable=False),
        sa.Column("key_digest", text(64), nullable=False),
    )
    op.create_index("ix_stations_name", "stations", ["name"])
    entry(
        "held",
        sa.Column("store", text(36), nullable=False),
        sa.Column("number", whole, nullable=False),
        sa.Column("of_table", text(32), nullable=False),
        sa.Column("entry_id", text(36), nullable=False),
        sa.Column("piece_id", text(36), nullable=False),
        sa.Column("content", sa.JSON, nullable=False),
        sa.UniqueConstraint("store", "number", name="uq_held_store_number"),
    )
    op.create_index("ix_held_piece_id", "held", ["piece_id"])
    entry(
        "takings",
        sa.Column("store", text(36), nullable=False),
        sa.Column("piece_id", text(36), nullable=False),
        sa.Column("as_piece_id", text(36), nullable=False),
        sa.Column("from_number", whole, nullable=False),
        sa.Column("shift", whole, nullable=False),
        sa.Column("up_to", whole, nullable=False),
    )
    op.create_index("ix_takings_piece_id", "takings", ["piece_id"])
    entry(
        "clashes",
        sa.Column("kind", text(16), nullable=False),
        sa.Column("of", text(200), nullable=False),
        sa.Column("content", sa.JSON, nullable=False),
    )
    op.create_table(
        "arrivals",
        sa.Column("store", text(36), nullable=False),
        sa.Column("number", whole, nullable=False),
        sa.Column("of_table", text(32), nullable=False),
        sa.Column("entry_id", text(36), nullable=False),
        sa.Column("at", text(32), nullable=False),
        sa.Column("clock_s", sa.Float, nullable=False),
        sa.PrimaryKeyConstraint("store", "number", name="pk_arrivals"),
    )
    op.create_index("ix_arrivals_entry_id", "arrivals", ["entry_id"])
    op.create_table(
        "cursors",
        sa.Column("store", text(36), nullable=False),
        sa.Column("number", whole, nullable=False),
        sa.Column("digest", text(64), nullable=False),
        sa.PrimaryKeyConstraint("store", name="pk_cursors"),
    )
    own = op.create_table(
        "own_store",
        sa.Column("id", text(36), nullable=False),
        sa.Column("at", text(32)),
        sa.PrimaryKeyConstraint("id", name="pk_own_store"),
    )
    op.bulk_insert(own, [{"id": new_id(), "at": now_utc()}])


def downgrade() -> None:
    """Not offered: a ledger is never cut back. Restore a backup instead."""
    raise NotImplementedError
