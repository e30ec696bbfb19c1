"""Sheets keep the bytes that were issued: the file's name and digest."""

from __future__ import annotations

import sqlalchemy as sa
from alembic import op

revision = "0014"
down_revision = "0013"
branch_labels = None
depends_on = None


def upgrade() -> None:
    """Add the columns; sheets issued before have no file."""
    op.add_column("sheets", sa.Column("kept_as", sa.String(200), nullable=True))
    op.add_column("sheets", sa.Column("sha256", sa.String(64), nullable=True))


def downgrade() -> None:
    """Not offered: a ledger is never cut back. Restore a backup instead."""
    raise NotImplementedError
