"""Tables that are no entries: which store this is, what came from where, who saw what, what was asked once."""

from __future__ import annotations

from sqlalchemy import Column, Float, Index, Integer, LargeBinary, String, Table, Text

from .metadata import metadata

own_store = Table(
    "own_store", metadata, Column("id", String(36), primary_key=True), Column("at", String(32))
)

arrivals = Table(
    "arrivals",
    metadata,
    Column("store", String(36), primary_key=True),
    Column("number", Integer, primary_key=True, autoincrement=False),
    Column("of_table", String(32), nullable=False),
    Column("entry_id", String(36), nullable=False),
    Column("at", String(32), nullable=False),
    Column("clock_s", Float, nullable=False),  # that store's clock minus ours
    Index(None, "entry_id"),
)

cursors = Table(
    "cursors",
    metadata,
    Column("store", String(36), primary_key=True),
    Column(
        "station", String(40), nullable=True
    ),  # whose key moves it; none before 0019, or at a station
    Column("number", Integer, nullable=False),
    Column("digest", String(64), nullable=False),
)

once = Table(
    "once",
    metadata,
    Column("key", String(64), primary_key=True),
    Column("digest", String(64), nullable=False),  # of what was asked
    Column("at", String(32), nullable=False),
    Column("status", Integer, nullable=True),  # of the answer; none until it was given
    Column("kind", String(120), nullable=True),
    Column("place", String(2000), nullable=True),
    Column("body", LargeBinary, nullable=True),
)

looks = Table(
    "looks",
    metadata,
    Column("id", String(36), primary_key=True),
    Column("at", String(32), nullable=False),
    Column("by", String(120), nullable=False),
    Column("what", String(16), nullable=False),  # story, label, list, recording
    Column("of", String(200), nullable=False),
    Index(None, "of"),
)

upgrades = Table(
    "upgrades",
    metadata,
    Column("at", String(32), primary_key=True),
    Column("schema", String(8), nullable=False),  # that it was brought to
    Column("from_schema", String(8), nullable=False),
    Column("program", String(40), nullable=False),
    Column("number", Integer, nullable=False),  # of the newest link then, and its digest
    Column("digest", String(64), nullable=False),
    Column("copy", String(400), nullable=False),  # where it lies as it was before
)

tree = Table(
    "tree",
    metadata,
    Column("block", Integer, primary_key=True, autoincrement=False),
    Column("digest", String(64), nullable=False),
)

heads = Table(
    "heads",
    metadata,
    Column("store", String(36), primary_key=True),
    Column("number", Integer, primary_key=True, autoincrement=False),
    Column("digest", String(64), nullable=False),
    Column("at", String(32), nullable=False),
    Column("content", Text, nullable=False),  # the signed head, JSON
)
