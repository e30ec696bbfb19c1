"""Accounts, amendments of pieces and jobs, due dates, and the index of pieces as they stand."""

from __future__ import annotations

import sqlalchemy as sa
from alembic import op

from heavyspot.ledger.migrations.versions.v0001_first import entry

revision = "0002"
down_revision = "0001"
branch_labels = None
depends_on = None


def upgrade() -> None:
    """Add the tables and fill the index."""
    text = sa.String
    op.add_column("jobs", sa.Column("due", text(10), nullable=False, server_default=""))
    op.add_column("jobs", sa.Column("note", text(2000), nullable=False, server_default=""))
    entry(
        "amendments",
        sa.Column("kind", text(16), nullable=False),
        sa.Column("of_id", text(36), nullable=False),
        sa.Column("content", sa.JSON, nullable=False),
    )
    op.create_index("ix_amendments_of_id", "amendments", ["of_id"])
    entry(
        "users",
        sa.Column("name", text(120), nullable=False),
        sa.Column("role", text(16), nullable=False),
        sa.Column("password_hash", text(200), nullable=False),
    )
    op.create_index("ix_users_name", "users", ["name"])
    entry(
        "logins",
        sa.Column("name", text(120), nullable=False),
        sa.Column("token_digest", text(64), nullable=False),
        sa.Column("csrf", text(64), nullable=False),
        sa.Column("until", text(32), nullable=False),
    )
    op.create_index("ix_logins_token_digest", "logins", ["token_digest"])
    op.create_index("ix_logins_replaces", "logins", ["replaces"])
    op.create_table(
        "piece_index",
        sa.Column("piece_id", text(36), nullable=False),
        sa.Column("serial", text(120), nullable=False),
        sa.Column("model", text(120), nullable=False),
        sa.Column("position", text(40), nullable=False),
        sa.Column("job_id", text(36), nullable=False),
        sa.Column("customer", text(200), nullable=False),
        sa.Column("invoice", text(80), nullable=False),
        sa.Column("number", sa.Integer, nullable=True),
        sa.Column("verdict", text(12), nullable=True),
        sa.Column("worst_ratio", sa.Float, nullable=True),
        sa.PrimaryKeyConstraint("piece_id", name="pk_piece_index"),
        sa.ForeignKeyConstraint(["piece_id"], ["pieces.id"], name="fk_piece_index_piece_id_pieces"),
        sa.ForeignKeyConstraint(["job_id"], ["jobs.id"], name="fk_piece_index_job_id_jobs"),
        sa.UniqueConstraint("serial", name="uq_piece_index_serial"),
    )
    op.create_index("ix_piece_index_job_id", "piece_index", ["job_id"])
    op.execute(
        """
        insert into piece_index
        select p.id, p.serial, p.model, p.position, p.job_id, j.customer, j.invoice,
               r.number, r.verdict, r.worst_ratio
        from pieces p
        join jobs j on j.id = p.job_id
        left join (select piece_id, max(number) as number from runs group by piece_id) n
               on n.piece_id = p.id
        left join runs r on r.piece_id = p.id and r.number = n.number
        """
    )


def downgrade() -> None:
    """Not offered: a ledger is never cut back. Restore a backup instead."""
    raise NotImplementedError
