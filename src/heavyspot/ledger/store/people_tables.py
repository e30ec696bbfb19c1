"""The tables of who may log in, and how: passwords, pins, keys for programs, passkeys, and logins."""

from __future__ import annotations

from sqlalchemy import Column, Index, Integer, LargeBinary, String

from .metadata import entry_table

users = entry_table(
    "users",
    Column("name", String(120), nullable=False),
    Column("role", String(16), nullable=False),  # empty: the account has ended
    Column("password_hash", String(200), nullable=False),
    Index(None, "name"),
)

logins = entry_table(
    "logins",
    Column("name", String(120), nullable=False),
    Column("token_digest", String(64), nullable=False),
    Column("csrf", String(64), nullable=False),
    Column("until", String(32), nullable=False),
    Column(
        "of_user", String(36), nullable=True
    ),  # the user's entry it began with; another one ends it
    Column("passkey", String(36), nullable=True),  # it was begun with; its end ends it
    Column("sign_count", Integer, nullable=True),  # that passkey's counter then
    Index(None, "token_digest"),
    Index(None, "replaces"),
)

pins = entry_table(
    "pins",
    Column("name", String(120), nullable=False),
    Column("pin_hash", String(200), nullable=False),  # empty: the pin has ended
    Index(None, "name"),
)

keys = entry_table(
    "keys",
    Column("name", String(120), nullable=False),  # whose
    Column("label", String(80), nullable=False),
    Column("key_digest", String(64), nullable=False),  # empty: the key has ended
    Column("scope", String(16), nullable=False),
    Column("until", String(32), nullable=False),
    Column("of_user", String(36), nullable=False),  # its user's entry then: it ends with that
    Index(None, "key_digest"),
)

passkeys = entry_table(
    "passkeys",
    Column("name", String(120), nullable=False),  # whose
    Column("label", String(80), nullable=False),
    Column("credential_id", String(1400), nullable=False),  # base64url; empty: it has ended
    Column("public_key", LargeBinary, nullable=False),  # COSE
    Column("sign_count", Integer, nullable=False),  # when it was added
    Column("rp_id", String(253), nullable=False),  # the name of the shop's server it holds for
    Column("of_user", String(36), nullable=False),  # its user's entry then: it ends with that
    Index(None, "credential_id"),
)
