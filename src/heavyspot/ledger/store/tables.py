"""The tables. Every row is an entry: added once, never changed; `replaces` names the entry amended.

Some tables are no entries: `piece_index` is a projection of others that may be made anew at any time, a
piece as it stands today; `chain` holds a link for each entry (see `chain.py`); `looks` says who saw what;
`own_store`, `arrivals` and `cursors` say which entries came from which other store (see `exchange.py`).
"""

from __future__ import annotations

from sqlalchemy import (
    JSON,
    Boolean,
    Column,
    Float,
    ForeignKey,
    Index,
    Integer,
    LargeBinary,
    MetaData,
    String,
    Table,
    UniqueConstraint,
)

metadata = MetaData(
    naming_convention={
        "ix": "ix_%(table_name)s_%(column_0_N_name)s",
        "uq": "uq_%(table_name)s_%(column_0_N_name)s",
        "fk": "fk_%(table_name)s_%(column_0_name)s_%(referred_table_name)s",
        "pk": "pk_%(table_name)s",
    }
)


def _entry(name: str, *columns: Column[object] | Index | UniqueConstraint) -> Table:
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


models = _entry(
    "models",
    Column("name", String(120), nullable=False),
    Column("kind", String(16), nullable=False, server_default="cartridge"),
    Column("content", JSON, nullable=False),
    Index(None, "name"),
)

rigs = _entry(
    "rigs",
    Column("name", String(120), nullable=False),
    Column("content", JSON, nullable=False),
    Index(None, "name"),
)

jobs = _entry(
    "jobs",
    Column("customer", String(200), nullable=False, server_default=""),
    Column("invoice", String(80), nullable=False, server_default=""),
    Column("due", String(10), nullable=False, server_default=""),
    Column("note", String(2000), nullable=False, server_default=""),
    Index(None, "invoice"),
)

pieces = _entry(
    "pieces",
    Column("serial", String(120), nullable=False),
    Column("model", String(120), nullable=False),
    Column("job_id", String(36), ForeignKey("jobs.id"), nullable=False),
    Column("position", String(40), nullable=False, server_default=""),
)

runs = _entry(
    "runs",
    Column("piece_id", String(36), ForeignKey("pieces.id"), nullable=False),
    Column("number", Integer, nullable=False),
    Column("recorded_at", String(40), nullable=False, server_default=""),
    Column("rig", String(120), nullable=False, server_default=""),
    Column("recording", String(200), nullable=False),
    Column("recording_sha256", String(64), nullable=False),
    Column("conditions", JSON, nullable=False),
    Column("verdict", String(12), nullable=False),
    Column("worst_ratio", Float, nullable=True),
    Column("result", JSON, nullable=False),
    Column("curves", LargeBinary, nullable=False),
    UniqueConstraint("piece_id", "number"),
)

cuts = _entry(
    "cuts",
    Column("piece_id", String(36), ForeignKey("pieces.id"), nullable=False),
    Column("after_run", Integer, nullable=False),
    Column("kind", String(8), nullable=False),  # asked or made
    Column("plane", String(80), nullable=False),
    Column("angle_deg", Float, nullable=False),
    Column("unbalance_gmm", Float, nullable=False),
    Column("mass_mg", Float, nullable=False),
    Column("depth_mm", Float, nullable=False),
    Column("never_made", Boolean, nullable=True),  # none before schema 0011
    Index(None, "piece_id"),
)

responses = _entry(
    "responses",
    Column("model", String(120), nullable=False),
    Column("rig", String(120), nullable=False, server_default=""),
    Column("plane", String(80), nullable=False),
    Column("piece_id", String(36), ForeignKey("pieces.id"), nullable=False),
    Column("run_number", Integer, nullable=False),
    Column("spread", Float, nullable=False),
    Column("vector", LargeBinary, nullable=False),
    Index(None, "model", "plane"),
)

cut_errors = _entry(
    "cut_errors",
    Column("piece_id", String(36), ForeignKey("pieces.id"), nullable=False),
    Column("cut_id", String(36), ForeignKey("cuts.id"), nullable=False),
    Column("operator", String(120), nullable=False, server_default=""),
    Column("cutter", String(20), nullable=False),
    Column("share", Float, nullable=False),  # effect against what was recorded
    Column("share_noise", Float, nullable=False),
    Column("angle_deg", Float, nullable=False),
    Column("angle_noise_deg", Float, nullable=False),
    Column("asked_share", Float, nullable=True),  # what was recorded against what was asked
    Column("asked_angle_deg", Float, nullable=True),
    Index(None, "cutter"),
)

promises = _entry(
    "promises",
    Column("piece_id", String(36), ForeignKey("pieces.id"), nullable=False),
    Column("run_number", Integer, nullable=False),
    Column("computed", Float, nullable=False),  # chance that the next run passes
    Column("said", Float, nullable=False),
    Column("passed", Boolean, nullable=False),
)

rotor_runs = _entry(
    "rotor_runs",
    Column("piece_id", String(36), ForeignKey("pieces.id"), nullable=False),
    Column("number", Integer, nullable=False),
    Column("rig", String(120), nullable=False, server_default=""),
    Column("recording", String(200), nullable=False, server_default=""),
    Column("recording_sha256", String(64), nullable=False, server_default=""),
    Column("verdict", String(12), nullable=False),
    Column("worst_ratio", Float, nullable=True),
    Column("content", JSON, nullable=False),
    UniqueConstraint("piece_id", "number"),
)

rotor_corrections = _entry(
    "rotor_corrections",
    Column("piece_id", String(36), ForeignKey("pieces.id"), nullable=False),
    Column("after_run", Integer, nullable=False),
    Column("content", JSON, nullable=False),
    Index(None, "piece_id"),
)

calibrations = _entry(
    "calibrations",
    Column("rig", String(120), nullable=False),
    Column("of", String(120), nullable=False),  # the rotor model; empty for any
    Column("content", JSON, nullable=False),
    Index(None, "rig", "of"),
)

proofs = _entry(
    "proofs",
    Column("rig", String(120), nullable=False),
    Column("of", String(120), nullable=False),  # residual, reduction or compensator
    Column("content", JSON, nullable=False),
    Index(None, "rig", "of"),
)

matchings = _entry("matchings", Column("content", JSON, nullable=False))

events = _entry(
    "happenings",  # its name since the first links, which hold it
    Column("piece_id", String(36), ForeignKey("pieces.id"), nullable=False),
    Column("kind", String(16), nullable=False),  # build, signed, returned, claim, note
    Column("content", JSON, nullable=False),
    Index(None, "piece_id"),
)

old_rows = _entry(
    "old_rows",
    Column("piece_id", String(36), ForeignKey("pieces.id"), nullable=False),
    Column("digest", String(64), nullable=False),  # of the row as it stood in the file
    Column("content", JSON, nullable=False),
    UniqueConstraint("digest"),
    Index(None, "piece_id"),
)

sheets = _entry(
    "sheets",
    Column("number", String(40), nullable=False),
    Column("piece_id", String(36), ForeignKey("pieces.id"), nullable=False),
    Column("kind", String(16), nullable=True),  # run or flow; none before schema 0011
    Column("run_number", Integer, nullable=False),
    Column("digest", String(64), nullable=False),
    UniqueConstraint("number"),
)

amendments = _entry(
    "amendments",
    Column("kind", String(16), nullable=False),  # piece or job
    Column("of_id", String(36), nullable=False),
    Column("content", JSON, nullable=False),  # the fields that changed, with their new values
    Index(None, "of_id"),
)

users = _entry(
    "users",
    Column("name", String(120), nullable=False),
    Column("role", String(16), nullable=False),  # empty: the account has ended
    Column("password_hash", String(200), nullable=False),
    Index(None, "name"),
)

logins = _entry(
    "logins",
    Column("name", String(120), nullable=False),
    Column("token_digest", String(64), nullable=False),
    Column("csrf", String(64), nullable=False),
    Column("until", String(32), nullable=False),
    Index(None, "token_digest"),
    Index(None, "replaces"),
)

pins = _entry(
    "pins",
    Column("name", String(120), nullable=False),
    Column("pin_hash", String(200), nullable=False),  # empty: the pin has ended
    Index(None, "name"),
)

rereads = _entry("rereads", Column("content", JSON, nullable=False))

rereadings = _entry(
    "rereadings",
    Column("piece_id", String(36), ForeignKey("pieces.id"), nullable=False),
    Column("reread_id", String(36), ForeignKey("rereads.id"), nullable=False),
    Column("run_id", String(36), nullable=False),
    Column("verdict", String(12), nullable=False),
    Column("worst_ratio", Float, nullable=True),
    Column("content", JSON, nullable=False),
    UniqueConstraint("reread_id", "run_id"),
)

flow_tests = _entry(
    "flow_tests",
    Column("piece_id", String(36), ForeignKey("pieces.id"), nullable=False),
    Column("rig", String(120), nullable=False, server_default=""),
    Column("verdict", String(12), nullable=False),
    Column("content", JSON, nullable=False),
    Index(None, "piece_id"),
)

rig_checks = _entry(
    "rig_checks",
    Column("rig", String(120), nullable=False),
    Column("kind", String(16), nullable=False),  # master, shaker, study
    Column("content", JSON, nullable=False),
    Index(None, "rig", "kind"),
)

overrulings = _entry(
    "overrulings",
    Column("piece_id", String(36), ForeignKey("pieces.id"), nullable=False),
    Column("run_id", String(36), ForeignKey("runs.id"), nullable=False),
    Column("number", Integer, nullable=False),
    Column("verdict", String(12), nullable=False),  # what the curve alone said, and now stands
    Column("finding", String(400), nullable=False),  # what was overruled
    Index(None, "piece_id"),
)

retired = _entry(
    "retired",
    Column("recording", String(200), nullable=False),
    Column("run_id", String(36), nullable=False),
    UniqueConstraint("recording"),
)

stations = _entry(
    "stations",
    Column("name", String(40), nullable=False),
    Column("key_digest", String(64), nullable=False),  # empty: the station has ended
    Index(None, "name"),
)

held = _entry(
    "held",
    Column("store", String(36), nullable=False),
    Column("number", Integer, nullable=False),  # of its link in that store's chain
    Column("of_table", String(32), nullable=False),
    Column("entry_id", String(36), nullable=False),
    Column("piece_id", String(36), nullable=False),
    Column("content", JSON, nullable=False),
    UniqueConstraint("store", "number"),
    Index(None, "piece_id"),
)

takings = _entry(
    "takings",
    Column("store", String(36), nullable=False),
    Column("piece_id", String(36), nullable=False),  # as it arrives
    Column("as_piece_id", String(36), nullable=False),
    Column("from_number", Integer, nullable=False),  # runs from this one on
    Column("shift", Integer, nullable=False),
    Column("up_to", Integer, nullable=False),  # of the held entries it let in
    Index(None, "piece_id"),
)

clashes = _entry(
    "clashes",
    Column("kind", String(16), nullable=False),  # piece, job, model, rig, cut, sheet
    Column("of", String(200), nullable=False),
    Column("content", JSON, nullable=False),
)

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
    Column("number", Integer, nullable=False),
    Column("digest", String(64), nullable=False),
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

chain = Table(
    "chain",
    metadata,
    Column("number", Integer, primary_key=True, autoincrement=False),
    Column("of_table", String(32), nullable=False),
    Column("entry_id", String(36), nullable=False),
    Column("digest", String(64), nullable=False),
    Index(None, "entry_id"),
    Index(None, "digest"),
)

piece_index = Table(
    "piece_index",
    metadata,
    Column("piece_id", String(36), ForeignKey("pieces.id"), primary_key=True),
    Column("serial", String(120), nullable=False),
    Column("model", String(120), nullable=False),
    Column("kind", String(16), nullable=False, server_default="cartridge"),
    Column("position", String(40), nullable=False),
    Column("job_id", String(36), ForeignKey("jobs.id"), nullable=False),
    Column("customer", String(200), nullable=False),
    Column("invoice", String(80), nullable=False),
    Column("number", Integer, nullable=True),  # of the last run
    Column("verdict", String(12), nullable=True),
    Column("worst_ratio", Float, nullable=True),
    Column("day", String(10), nullable=False, server_default=""),  # it came in, the old book's too
    UniqueConstraint("serial"),
    Index(None, "job_id"),
    Index(None, "invoice"),
    Index("ix_piece_index_kind", "kind", "piece_id"),
)
