"""What somebody said of the cuts before a run, with the advice that follows from it."""

from __future__ import annotations

import sqlalchemy as sa
from alembic import op

from heavyspot.ledger.migrations.versions.v0001_first import entry, piece_link

revision = "0013"
down_revision = "0012"
branch_labels = None
depends_on = None


def upgrade() -> None:
    """Add the table."""
    entry(
        "answers",
        *piece_link("answers"),
        sa.Column("run_id", sa.String(36), nullable=False),
        sa.Column("number", sa.Integer, nullable=False),
        sa.Column("looked", sa.JSON, nullable=False),
        sa.Column("knowingly", sa.JSON, nullable=False),
        sa.Column("advice", sa.JSON, nullable=False),
        sa.ForeignKeyConstraint(["run_id"], ["runs.id"], name="fk_answers_run_id_runs"),
    )
    op.create_index("ix_answers_piece_id", "answers", ["piece_id"])


def downgrade() -> None:
    """Not offered: a ledger is never cut back. Restore a backup instead."""
    raise NotImplementedError
