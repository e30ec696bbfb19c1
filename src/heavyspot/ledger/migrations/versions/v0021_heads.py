"""Where chains ended when: nodes over the own links, and signed heads of this and other stores."""

from __future__ import annotations

import sqlalchemy as sa
from alembic import op

revision = "0021"
down_revision = "0020"
branch_labels = None
depends_on = None


def upgrade() -> None:
    """Add the tables; the nodes are made when a head first is."""
    op.create_table(
        "tree",
        sa.Column("block", sa.Integer, autoincrement=False, nullable=False),
        sa.Column("digest", sa.String(64), nullable=False),
        sa.PrimaryKeyConstraint("block", name="pk_tree"),
    )
    op.create_table(
        "heads",
        sa.Column("store", sa.String(36), nullable=False),
        sa.Column("number", sa.Integer, autoincrement=False, nullable=False),
        sa.Column("digest", sa.String(64), nullable=False),
        sa.Column("at", sa.String(32), nullable=False),
        sa.Column("content", sa.Text, nullable=False),
        sa.PrimaryKeyConstraint("store", "number", name="pk_heads"),
    )


def downgrade() -> None:
    """Not offered: a ledger is never cut back. Restore a backup instead."""
    raise NotImplementedError
