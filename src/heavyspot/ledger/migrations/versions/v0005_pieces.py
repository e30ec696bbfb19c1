"""What happened to a piece beside runs and cuts: build records, signatures, returns, claims, notes."""

from __future__ import annotations

import sqlalchemy as sa
from alembic import op

from heavyspot.ledger.migrations.versions.v0001_first import entry, piece_link

revision = "0005"
down_revision = "0004"
branch_labels = None
depends_on = None


def upgrade() -> None:
    """Add the table."""
    entry(
        "happenings",
        *piece_link("happenings"),
        sa.Column("kind", sa.String(16), nullable=False),
        sa.Column("content", sa.JSON, nullable=False),
    )
    op.create_index("ix_happenings_piece_id", "happenings", ["piece_id"])


def downgrade() -> None:
    """Not offered: a ledger is never cut back. Restore a backup instead."""
    raise NotImplementedError
