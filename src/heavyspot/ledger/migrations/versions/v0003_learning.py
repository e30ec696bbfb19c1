"""What cuts turned out to be, and whether chances were kept."""

from __future__ import annotations

import sqlalchemy as sa
from alembic import op

from heavyspot.ledger.migrations.versions.v0001_first import entry, piece_link

revision = "0003"
down_revision = "0002"
branch_labels = None
depends_on = None


def upgrade() -> None:
    """Add the tables; earlier runs are not gone through again."""
    text, number = sa.String, sa.Float
    entry(
        "cut_errors",
        *piece_link("cut_errors"),
        sa.Column("cut_id", text(36), nullable=False),
        sa.Column("operator", text(120), nullable=False, server_default=""),
        sa.Column("cutter", text(20), nullable=False),
        sa.Column("share", number, nullable=False),
        sa.Column("share_noise", number, nullable=False),
        sa.Column("angle_deg", number, nullable=False),
        sa.Column("angle_noise_deg", number, nullable=False),
        sa.Column("asked_share", number, nullable=True),
        sa.Column("asked_angle_deg", number, nullable=True),
        sa.ForeignKeyConstraint(["cut_id"], ["cuts.id"], name="fk_cut_errors_cut_id_cuts"),
    )
    op.create_index("ix_cut_errors_cutter", "cut_errors", ["cutter"])
    entry(
        "promises",
        *piece_link("promises"),
        sa.Column("run_number", sa.Integer, nullable=False),
        sa.Column("computed", number, nullable=False),
        sa.Column("said", number, nullable=False),
        sa.Column("passed", sa.Boolean, nullable=False),
    )


def downgrade() -> None:
    """Not offered: a ledger is never cut back. Restore a backup instead."""
    raise NotImplementedError
