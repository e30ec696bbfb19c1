"""First tables: models, rigs, jobs, pieces, runs, cuts, responses, sheets."""

from __future__ import annotations

import sqlalchemy as sa
from alembic import op

revision = "0001"
down_revision = None
branch_labels = None
depends_on = None


def entry(name: str, *columns: sa.Column[object] | sa.Constraint) -> None:
    """Make a table of entries; later versions use it too."""
    op.create_table(
        name,
        sa.Column("id", sa.String(36), nullable=False),
        sa.Column("at", sa.String(32), nullable=False),
        sa.Column("by", sa.String(120), nullable=False, server_default=""),
        sa.Column("replaces", sa.String(36), nullable=True),
        sa.Column("why", sa.String(400), nullable=False, server_default=""),
        *columns,
        sa.PrimaryKeyConstraint("id", name=f"pk_{name}"),
        sa.ForeignKeyConstraint(["replaces"], [f"{name}.id"], name=f"fk_{name}_replaces_{name}"),
    )


def piece_link(table: str) -> tuple[sa.Column[object], sa.Constraint]:
    """Return the column that names a piece; later versions use it too."""
    return (
        sa.Column("piece_id", sa.String(36), nullable=False),
        sa.ForeignKeyConstraint(["piece_id"], ["pieces.id"], name=f"fk_{table}_piece_id_pieces"),
    )


def upgrade() -> None:
    """Make the tables."""
    text, number = sa.String, sa.Float
    for name in ("models", "rigs"):
        entry(
            name,
            sa.Column("name", text(120), nullable=False),
            sa.Column("content", sa.JSON, nullable=False),
        )
        op.create_index(f"ix_{name}_name", name, ["name"])
    entry(
        "jobs",
        sa.Column("customer", text(200), nullable=False, server_default=""),
        sa.Column("invoice", text(80), nullable=False, server_default=""),
    )
    op.create_index("ix_jobs_invoice", "jobs", ["invoice"])
    entry(
        "pieces",
        sa.Column("serial", text(120), nullable=False),
        sa.Column("model", text(120), nullable=False),
        sa.Column("job_id", text(36), nullable=False),
        sa.Column("position", text(40), nullable=False, server_default=""),
        sa.ForeignKeyConstraint(["job_id"], ["jobs.id"], name="fk_pieces_job_id_jobs"),
    )
    entry(
        "runs",
        *piece_link("runs"),
        sa.Column("number", sa.Integer, nullable=False),
        sa.Column("recorded_at", text(40), nullable=False, server_default=""),
        sa.Column("rig", text(120), nullable=False, server_default=""),
        sa.Column("recording", text(200), nullable=False),
        sa.Column("recording_sha256", text(64), nullable=False),
        sa.Column("conditions", sa.JSON, nullable=False),
        sa.Column("verdict", text(12), nullable=False),
        sa.Column("worst_ratio", number, nullable=True),
        sa.Column("result", sa.JSON, nullable=False),
        sa.Column("curves", sa.LargeBinary, nullable=False),
        sa.UniqueConstraint("piece_id", "number", name="uq_runs_piece_id_number"),
    )
    entry(
        "cuts",
        *piece_link("cuts"),
        sa.Column("after_run", sa.Integer, nullable=False),
        sa.Column("kind", text(8), nullable=False),
        sa.Column("plane", text(80), nullable=False),
        *(
            sa.Column(c, number, nullable=False)
            for c in ("angle_deg", "unbalance_gmm", "mass_mg", "depth_mm")
        ),
    )
    op.create_index("ix_cuts_piece_id", "cuts", ["piece_id"])
    entry(
        "responses",
        sa.Column("model", text(120), nullable=False),
        sa.Column("rig", text(120), nullable=False, server_default=""),
        sa.Column("plane", text(80), nullable=False),
        *piece_link("responses"),
        sa.Column("run_number", sa.Integer, nullable=False),
        sa.Column("spread", number, nullable=False),
        sa.Column("vector", sa.LargeBinary, nullable=False),
    )
    op.create_index("ix_responses_model_plane", "responses", ["model", "plane"])
    entry(
        "sheets",
        sa.Column("number", text(40), nullable=False),
        *piece_link("sheets"),
        sa.Column("run_number", sa.Integer, nullable=False),
        sa.Column("digest", text(64), nullable=False),
        sa.UniqueConstraint("number", name="uq_sheets_number"),
    )


def downgrade() -> None:
    """Not offered: a ledger is never cut back. Restore a backup instead."""
    raise NotImplementedError
