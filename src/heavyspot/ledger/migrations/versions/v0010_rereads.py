"""Archived recordings read anew, beside what was read first; flow tests; rig checks and studies."""

from __future__ import annotations

import sqlalchemy as sa
from alembic import op

from heavyspot.ledger.migrations.versions.v0001_first import entry, piece_link

revision = "0010"
down_revision = "0009"
branch_labels = None
depends_on = None


def upgrade() -> None:
    """Add the tables."""
    entry("rereads", sa.Column("content", sa.JSON, nullable=False))
    entry(
        "rereadings",
        *piece_link("rereadings"),
        sa.Column("reread_id", sa.String(36), nullable=False),
        sa.Column("run_id", sa.String(36), nullable=False),
        sa.Column("verdict", sa.String(12), nullable=False),
        sa.Column("worst_ratio", sa.Float, nullable=True),
        sa.Column("content", sa.JSON, nullable=False),
        sa.ForeignKeyConstraint(
            ["reread_id"], ["rereads.id"], name="fk_rereadings_reread_id_rereads"
        ),
        sa.UniqueConstraint("reread_id", "run_id", name="uq_rereadings_reread_id_run_id"),
    )
    entry(
        "flow_tests",
        *piece_link("flow_tests"),
        sa.Column("rig", sa.String(120), nullable=False, server_default=""),
        sa.Column("verdict", sa.String(12), nullable=False),
        sa.Column("content", sa.JSON, nullable=False),
    )
    op.create_index("ix_flow_tests_piece_id", "flow_tests", ["piece_id"])
    entry(
        "rig_checks",
        sa.Column("rig", sa.String(120), nullable=False),
        sa.Column("kind", sa.String(16), nullable=False),
        sa.Column("content", sa.JSON, nullable=False),
    )
    op.create_index("ix_rig_checks_rig_kind", "rig_checks", ["rig", "kind"])


def downgrade() -> None:
    """Not offered: a ledger is never cut back. Restore a backup instead."""
    raise NotImplementedError
