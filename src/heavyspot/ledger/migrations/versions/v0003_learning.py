"""What cuts turned out to be, whether chances were kept; rotors at low speed, machine proofs, matchings."""

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
    op.add_column("models", sa.Column("kind", text(16), nullable=False, server_default="cartridge"))
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
    entry(
        "rotor_runs",
        *piece_link("rotor_runs"),
        sa.Column("number", sa.Integer, nullable=False),
        sa.Column("rig", text(120), nullable=False, server_default=""),
        sa.Column("recording", text(200), nullable=False, server_default=""),
        sa.Column("recording_sha256", text(64), nullable=False, server_default=""),
        sa.Column("verdict", text(12), nullable=False),
        sa.Column("worst_ratio", number, nullable=True),
        sa.Column("content", sa.JSON, nullable=False),
        sa.UniqueConstraint("piece_id", "number", name="uq_rotor_runs_piece_id_number"),
    )
    entry(
        "rotor_corrections",
        *piece_link("rotor_corrections"),
        sa.Column("after_run", sa.Integer, nullable=False),
        sa.Column("content", sa.JSON, nullable=False),
    )
    op.create_index("ix_rotor_corrections_piece_id", "rotor_corrections", ["piece_id"])
    for name in ("calibrations", "proofs"):
        entry(
            name,
            sa.Column("rig", text(120), nullable=False),
            sa.Column("of", text(120), nullable=False),
            sa.Column("content", sa.JSON, nullable=False),
        )
        op.create_index(f"ix_{name}_rig_of", name, ["rig", "of"])
    entry("matchings", sa.Column("content", sa.JSON, nullable=False))


def downgrade() -> None:
    """Not offered: a ledger is never cut back. Restore a backup instead."""
    raise NotImplementedError
