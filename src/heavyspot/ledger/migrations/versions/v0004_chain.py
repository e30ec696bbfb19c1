"""The chain over all entries."""

from __future__ import annotations

import sqlalchemy as sa
from alembic import op

from heavyspot.ledger.store.chain import UNCHAINED, add_links
from heavyspot.ledger.store.tables import metadata

revision = "0004"
down_revision = "0003"
branch_labels = None
depends_on = None


def upgrade() -> None:
    """Make the table, and link what is there in the order it was written."""
    op.create_table(
        "chain",
        sa.Column("number", sa.Integer, nullable=False),
        sa.Column("of_table", sa.String(32), nullable=False),
        sa.Column("entry_id", sa.String(36), nullable=False),
        sa.Column("digest", sa.String(64), nullable=False),
        sa.PrimaryKeyConstraint("number", name="pk_chain"),
    )
    op.create_index("ix_chain_entry_id", "chain", ["entry_id"])
    op.create_index("ix_chain_digest", "chain", ["digest"])
    c = op.get_bind()
    known = set(sa.inspect(c).get_table_names())
    tables = [t for t in metadata.sorted_tables if t.name in known and t.name not in UNCHAINED]
    entries = sorted((row.id, t.name) for t in tables for row in c.execute(sa.select(t.c.id)))
    for entry_id, name in entries:
        as_it_is = sa.Table(
            name, sa.MetaData(), autoload_with=c
        )  # columns of later versions are not there
        add_links(c, as_it_is, [entry_id])


def downgrade() -> None:
    """Not offered: a ledger is never cut back. Restore a backup instead."""
    raise NotImplementedError
