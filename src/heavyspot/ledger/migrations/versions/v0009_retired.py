"""Recordings that were removed by the shop's own rule, each with who and why."""

from __future__ import annotations

import sqlalchemy as sa

from heavyspot.ledger.migrations.versions.v0001_first import entry

revision = "0009"
down_revision = "0008"
branch_labels = None
depends_on = None


def upgrade() -> None:
    """Add the table."""
    entry(
        "retired",
        sa.Column("recording", sa.String(200), nullable=False),
        sa.Column("run_id", sa.String(36), nullable=False),
        sa.UniqueConstraint("recording", name="uq_retired_recording"),
    )


def downgrade() -> None:
    """Not offered: a ledger is never cut back. Restore a backup instead."""
    raise NotImplementedError
