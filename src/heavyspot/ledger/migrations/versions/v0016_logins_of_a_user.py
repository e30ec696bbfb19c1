"""A login holds while its user's entry is the one it began with, whatever a clock says."""

from __future__ import annotations

import sqlalchemy as sa
from alembic import op

revision = "0016"
down_revision = "0015"
branch_labels = None
depends_on = None


def upgrade() -> None:
    """Add the column; logins of before end."""
    op.add_column("logins", sa.Column("of_user", sa.String(36), nullable=True))


def downgrade() -> None:
    """Not offered: a ledger is never cut back. Restore a backup instead."""
    raise NotImplementedError
