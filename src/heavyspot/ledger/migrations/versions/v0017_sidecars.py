"""What stands beside a recording is under a digest too: its channels, its direction of rotation."""

from __future__ import annotations

import sqlalchemy as sa
from alembic import op

revision = "0017"
down_revision = "0016"
branch_labels = None
depends_on = None


def upgrade() -> None:
    """Add the columns; runs of before have no digest of it."""
    for table in ("runs", "rotor_runs"):
        op.add_column(table, sa.Column("beside_sha256", sa.String(64), nullable=True))


def downgrade() -> None:
    """Not offered: a ledger is never cut back. Restore a backup instead."""
    raise NotImplementedError
