"""The search box's lines."""

from __future__ import annotations

from alembic import op

from heavyspot.ledger.find.search import make_tables

revision = "0006"
down_revision = "0005"
branch_labels = None
depends_on = None


def upgrade() -> None:
    """Make the tables; the version after this one fills them."""
    make_tables(op.get_bind())


def downgrade() -> None:
    """Not offered: a ledger is never cut back. Restore a backup instead."""
    raise NotImplementedError
