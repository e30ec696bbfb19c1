"""Which programs brought the ledger to their schema, and where it lies as it was before."""

from __future__ import annotations

import sqlalchemy as sa
from alembic import op

revision = "0020"
down_revision = "0019"
branch_labels = None
depends_on = None


def upgrade() -> None:
    """Add the table."""
    op.create_table(
        "upgrades",
        sa.Column("at", sa.String(32), nullable=False),
        sa.Column("schema", sa.String(8), nullable=False),
        sa.Column("from_schema", sa.String(8), nullable=False),
        sa.Column("program", sa.String(40), nullable=False),
        sa.Column("number", sa.Integer, nullable=False),
        sa.Column("digest", sa.String(64), nullable=False),
        sa.Column("copy", sa.String(400), nullable=False),
        sa.PrimaryKeyConstraint("at", name="pk_upgrades"),
    )


def downgrade() -> None:
    """Not offered: a ledger is never cut back. Restore a backup instead."""
    raise NotImplementedError
