"""Branches: where a ledger went on from a backup, under a name of its own."""

from __future__ import annotations

import sqlalchemy as sa

from heavyspot.ledger.migrations.versions.v0001_first import entry

revision = "0015"
down_revision = "0014"
branch_labels = None
depends_on = None


def upgrade() -> None:
    """Add the table."""
    entry(
        "branches",
        sa.Column("name", sa.String(8), nullable=False),
        sa.Column("store", sa.String(36), nullable=False),
        sa.Column("from_number", sa.Integer, nullable=False),
        sa.Column("from_digest", sa.String(64), nullable=False),
    )


def downgrade() -> None:
    """Not offered: a ledger is never cut back. Restore a backup instead."""
    raise NotImplementedError
