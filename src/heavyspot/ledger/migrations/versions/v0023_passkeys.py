"""Passkeys of persons: public keys alone, with the counter of each login by one."""

from __future__ import annotations

import sqlalchemy as sa
from alembic import op

from heavyspot.ledger.migrations.versions.v0001_first import entry

revision = "0023"
down_revision = "0022"
branch_labels = None
depends_on = None


def upgrade() -> None:
    """Add the table, and what a login says of a passkey."""
    entry(
        "passkeys",
        sa.Column("name", sa.String(120), nullable=False),
        sa.Column("label", sa.String(80), nullable=False),
        sa.Column("credential_id", sa.String(1400), nullable=False),
        sa.Column("public_key", sa.LargeBinary, nullable=False),
        sa.Column("sign_count", sa.Integer, nullable=False),
        sa.Column("rp_id", sa.String(253), nullable=False),
        sa.Column("of_user", sa.String(36), nullable=False),
    )
    op.create_index("ix_passkeys_credential_id", "passkeys", ["credential_id"])
    op.add_column("logins", sa.Column("passkey", sa.String(36), nullable=True))
    op.add_column("logins", sa.Column("sign_count", sa.Integer, nullable=True))


def downgrade() -> None:
    """Not offered: a ledger is never cut back. Restore a backup instead."""
    raise NotImplementedError
