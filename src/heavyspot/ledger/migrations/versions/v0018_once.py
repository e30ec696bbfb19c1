"""Keys under which something was asked, with the answer that was given."""

from __future__ import annotations

import sqlalchemy as sa
from alembic import op

revision = "0018"
down_revision = "0017"
branch_labels = None
depends_on = None


def upgrade() -> None:
    """Add the table."""
    op.create_table(
        "once",
        sa.Column("key", sa.String(64), nullable=False),
        sa.Column("digest", sa.String(64), nullable=False),
        sa.Column("at", sa.String(32), nullable=False),
        sa.Column("status", sa.Integer, nullable=True),
        sa.Column("kind", sa.String(120), nullable=True),
        sa.Column("place", sa.String(2000), nullable=True),
        sa.Column("body", sa.LargeBinary, nullable=True),
        sa.PrimaryKeyConstraint("key", name="pk_once"),
    )


def downgrade() -> None:
    """Not offered: a ledger is never cut back. Restore a backup instead."""
    raise NotImplementedError
