"""A cursor belongs to the station whose store it is."""

from __future__ import annotations

import sqlalchemy as sa
from alembic import op

revision = "0019"
down_revision = "0018"
branch_labels = None
depends_on = None


def upgrade() -> None:
    """Add the column; a cursor of before gets its station with the next exchange."""
    op.add_column("cursors", sa.Column("station", sa.String(40), nullable=True))


def downgrade() -> None:
    """Not offered: a ledger is never cut back. Restore a backup instead."""
    raise NotImplementedError
