"""Kinds as columns: what a piece is of, what a sheet tells of, a cut that was never made."""

from __future__ import annotations

import sqlalchemy as sa
from alembic import op

revision = "0011"
down_revision = "0010"
branch_labels = None
depends_on = None


def upgrade() -> None:
    """Add the columns; entries stay as they were written, the index of pieces is told its kinds."""
    op.add_column("cuts", sa.Column("never_made", sa.Boolean, nullable=True))
    op.add_column("sheets", sa.Column("kind", sa.String(16), nullable=True))
    op.add_column(
        "piece_index",
        sa.Column("kind", sa.String(16), nullable=False, server_default="cartridge"),
    )
    op.execute(
        "update piece_index set kind = 'rotor' "
        "where model in (select name from models where kind = 'rotor')"
    )
    op.create_index("ix_piece_index_kind", "piece_index", ["kind", "piece_id"])


def downgrade() -> None:
    """Not offered: a ledger is never cut back. Restore a backup instead."""
    raise NotImplementedError
