"""Findings that an inspector overruled, with the verdict that then stands and the reason."""

from __future__ import annotations

import sqlalchemy as sa
from alembic import op

from heavyspot.ledger.migrations.versions.v0001_first import entry, piece_link

revision = "0012"
down_revision = "0011"
branch_labels = None
depends_on = None


def upgrade() -> None:
    """Add the table."""
    entry(
        "overrulings",
        *piece_link("overrulings"),
        sa.Column("run_id", sa.String(36), nullable=False),
        sa.Column("number", sa.Integer, nullable=False),
        sa.Column("verdict", sa.String(12), nullable=False),
        sa.Column("finding", sa.String(400), nullable=False),
        sa.ForeignKeyConstraint(["run_id"], ["runs.id"], name="fk_overrulings_run_id_runs"),
    )
    op.create_index("ix_overrulings_piece_id", "overrulings", ["piece_id"])


def downgrade() -> None:
    """Not offered: a ledger is never cut back. Restore a backup instead."""
    raise NotImplementedError
