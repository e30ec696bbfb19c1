"""Keys of persons for programs: hashed, with a scope and an end."""

from __future__ import annotations

import sqlalchemy as sa
from alembic import op

from heavyspot.ledger.migrations.versions.v0001_first import entry

revision = "0022"
down_revision = "0021"
branch_labels = None
depends_on = None


def upgrade() -> None:
    """Add the table."""
    entry(
        "keys",
        sa.Column("name", sa.String(120), nullable=False),
        sa.Column("label", sa.String(80), nullable=False),
        sa.Column("key_digest", sa.String(64), nullable=False),
        sa.Column("scope", sa.String(16), nullable=False),
        sa.Column("until", sa.String(32), nullable=False),
        sa.Column("of_user", sa.String(36), nullable=False),
    )
    op.create_index("ix_keys_key_digest", "keys", ["key_digest"])


def downgrade() -> None:
    """Not offered: a ledger is never cut back. Restore a backup instead."""
    raise NotImplementedError
