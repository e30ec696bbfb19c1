"""How tables and their keys are named, and what every table of entries has."""

from __future__ import annotations

from sqlalchemy import Column, ForeignKey, Index, MetaData, String, Table, UniqueConstraint

metadata = MetaData(
    naming_convention={
        "ix": "ix_%(table_name)s_%(column_0_N_name)s",
        "uq": "uq_%(table_name)s_%(column_0_N_name)s",
        "fk": "fk_%(table_name)s_%(column_0_name)s_%(referred_table_name)s",
        "pk": "pk_%(table_name)s",
    }
)


def entry_table(name: str, *columns: Column[object] | Index | UniqueConstraint) -> Table:
    """A table of entries: who made each, when (UTC, ISO 8601), and what it amends."""
    return Table(
        name,
        metadata,
        Column("id", String(36), primary_key=True),
        Column("at", String(32), nullable=False),
        Column("by", String(120), nullable=False, server_default=""),
        Column("replaces", String(36), ForeignKey(f"{name}.id"), nullable=True),
        Column("why", String(400), nullable=False, server_default=""),
        *columns,
    )
