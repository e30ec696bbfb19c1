"""The tables. Every row is an entry: added once, never changed; `replaces` names the entry amended.

Some tables are no entries: `piece_index` is a projection of others that may be made anew at any time, a
piece as it stands today; `chain` holds a link for each entry (see `chain.py`); those of `own_tables.py` say which
store this is and what came from where (see `exchange.py`), who saw what, what was asked once (see `once.py`).
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
    String,
    Table,
    UniqueConstraint,
)

from .metadata import entry_table
from .metadata import metadata as metadata  # whoever asks for it here wants the tables in it
from .own_tables import arrivals as arrivals
from .own_tables import cursors as cursors
from .own_tables import heads as heads
from .own_tables import looks as looks
from .own_tables import once as once
from .own_tables import own_store as own_store
from .own_tables import tree as tree
from .own_tables import upgrades as upgrades
from .people_tables import keys as keys
from .people_tables import logins as logins
from .people_tables import passkeys as passkeys
from .people_tables import pins as pins
from .people_tables import users as users

models = entry_table(
    "models",
    Column("name", String(120), nullable=False),
    Column("kind", String(16), nullable=False, server_default="cartridge"),
    Column("content", JSON, nullable=False),
    Index(None, "name"),
)

rigs = entry_table(
    "rigs",
    Column("name", String(120), nullable=False),
    Column("content", JSON, nullable=False),
    Index(None, "name"),
)

jobs = entry_table(
    "jobs",
    Column("customer", String(200), nullable=False, server_default=""),
    Column("invoice", String(80), nullable=False, server_default=""),
    Column("due", String(10), nullable=False, server_default=""),
    Column("note", String(2000), nullable=False, server_default=""),
    Index(None, "invoice"),
)

pieces = entry_table(
    "pieces",
    Column("serial", String(120), nullable=False),
    Column("model", String(120), nullable=False),
    Column("job_id", String(36), ForeignKey("jobs.id"), nullable=False),
    Column("position", String(40), nullable=False, server_default=""),
)

runs = entry_table(
    "runs",
    Column("piece_id", String(36), ForeignKey("pieces.id"), nullable=False),
    Column("number", Integer, nullable=False),
    Column("recorded_at", String(40), nullable=False, server_default=""),
    Column("rig", String(120), nullable=False, server_default=""),
    Column("recording", String(200), nullable=False),
    Column("recording_sha256", String(64), nullable=False),
    Column(
        "beside_sha256", String(64), nullable=True
    ),  # of what says its channels; none before 0017
    Column("conditions", JSON, nullable=False),
    Column("verdict", String(12), nullable=False),
    Column("worst_ratio", Float, nullable=True),
    Column("result", JSON, nullable=False),
    Column("curves", LargeBinary, nullable=False),
    UniqueConstraint("piece_id", "number"),
)

cuts = entry_table(
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

responses = entry_table(
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

cut_errors = entry_table(
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

promises = entry_table(
    "promises",
    Column("piece_id", String(36), ForeignKey("pieces.id"), nullable=False),
    Column("run_number", Integer, nullable=False),
    Column("computed", Float, nullable=False),  # chance that the next run passes
    Column("said", Float, nullable=False),
    Column("passed", Boolean, nullable=False),
)

rotor_runs = entry_table(
    "rotor_runs",
    Column("piece_id", String(36), ForeignKey("pieces.id"), nullable=False),
    Column("number", Integer, nullable=False),
    Column("rig", String(120), nullable=False, server_default=""),
    Column("recording", String(200), nullable=False, server_default=""),
    Column("recording_sha256", String(64), nullable=False, server_default=""),
    Column("beside_sha256", String(64), nullable=True),
    Column("verdict", String(12), nullable=False),
    Column("worst_ratio", Float, nullable=True),
    Column("content", JSON, nullable=False),
    UniqueConstraint("piece_id", "number"),
)

rotor_corrections = entry_table(
    "rotor_corrections",
    Column("piece_id", String(36), ForeignKey("pieces.id"), nullable=False),
    Column("after_run", Integer, nullable=False),
    Column("content", JSON, nullable=False),
    Index(None, "piece_id"),
)

calibrations = entry_table(
    "calibrations",
    Column("rig", String(120), nullable=False),
    Column("of", String(120), nullable=False),  # the rotor model; empty for any
    Column("content", JSON, nullable=False),
    Index(None, "rig", "of"),
)

proofs = entry_table(
    "proofs",
    Column("rig", String(120), nullable=False),
    Column("of", String(120), nullable=False),  # residual, reduction or compensator
    Column("content", JSON, nullable=False),
    Index(None, "rig", "of"),
)

matchings = entry_table("matchings", Column("content", JSON, nullable=False))

events = entry_table(
    "happenings",  # its name since the first links, which hold it
    Column("piece_id", String(36), ForeignKey("pieces.id"), nullable=False),
    Column("kind", String(16), nullable=False),  # build, signed, returned, claim, note
    Column("content", JSON, nullable=False),
    Index(None, "piece_id"),
)

old_rows = entry_table(
    "old_rows",
    Column("piece_id", String(36), ForeignKey("pieces.id"), nullable=False),
    Column("digest", String(64), nullable=False),  # of the row as it stood in the file
    Column("content", JSON, nullable=False),
    UniqueConstraint("digest"),
    Index(None, "piece_id"),
)

sheets = entry_table(
    "sheets",
    Column("number", String(40), nullable=False),
    Column("piece_id", String(36), ForeignKey("pieces.id"), nullable=False),
    Column("kind", String(16), nullable=True),  # run or flow; none before schema 0011
    Column("run_number", Integer, nullable=False),
    Column("digest", String(64), nullable=False),
    Column("kept_as", String(200), nullable=True),  # the file's bytes; none before schema 0014
    Column("sha256", String(64), nullable=True),
    UniqueConstraint("number"),
)

amendments = entry_table(
    "amendments",
    Column("kind", String(16), nullable=False),  # piece or job
    Column("of_id", String(36), nullable=False),
    Column("content", JSON, nullable=False),  # the fields that changed, with their new values
    Index(None, "of_id"),
)

rereads = entry_table("rereads", Column("content", JSON, nullable=False))

rereadings = entry_table(
    "rereadings",
    Column("piece_id", String(36), ForeignKey("pieces.id"), nullable=False),
    Column("reread_id", String(36), ForeignKey("rereads.id"), nullable=False),
    Column("run_id", String(36), nullable=False),
    Column("verdict", String(12), nullable=False),
    Column("worst_ratio", Float, nullable=True),
    Column("content", JSON, nullable=False),
    UniqueConstraint("reread_id", "run_id"),
)

flow_tests = entry_table(
    "flow_tests",
    Column("piece_id", String(36), ForeignKey("pieces.id"), nullable=False),
    Column("rig", String(120), nullable=False, server_default=""),
    Column("verdict", String(12), nullable=False),
    Column("content", JSON, nullable=False),
    Index(None, "piece_id"),
)

rig_checks = entry_table(
    "rig_checks",
    Column("rig", String(120), nullable=False),
    Column("kind", String(16), nullable=False),  # master, shaker, study
    Column("content", JSON, nullable=False),
    Index(None, "rig", "kind"),
)

overrulings = entry_table(
    "overrulings",
    Column("piece_id", String(36), ForeignKey("pieces.id"), nullable=False),
    Column("run_id", String(36), ForeignKey("runs.id"), nullable=False),
    Column("number", Integer, nullable=False),
    Column("verdict", String(12), nullable=False),  # what the curve alone said, and now stands
    Column("finding", String(400), nullable=False),  # what was overruled
    Index(None, "piece_id"),
)

answers = entry_table(
    "answers",
    Column("piece_id", String(36), ForeignKey("pieces.id"), nullable=False),
    Column("run_id", String(36), ForeignKey("runs.id"), nullable=False),
    Column("number", Integer, nullable=False),
    Column("looked", JSON, nullable=False),  # cuts seen to be there as written down
    Column("knowingly", JSON, nullable=False),  # cuts in spite of which the work goes on
    Column("advice", JSON, nullable=False),  # what follows from the answer
    Index(None, "piece_id"),
)

retired = entry_table(
    "retired",
    Column("recording", String(200), nullable=False),
    Column("run_id", String(36), nullable=False),
    UniqueConstraint("recording"),
)

stations = entry_table(
    "stations",
    Column("name", String(40), nullable=False),
    Column("key_digest", String(64), nullable=False),  # empty: the station has ended
    Index(None, "name"),
)

held = entry_table(
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

takings = entry_table(
    "takings",
    Column("store", String(36), nullable=False),
    Column("piece_id", String(36), nullable=False),  # as it arrives
    Column("as_piece_id", String(36), nullable=False),
    Column("from_number", Integer, nullable=False),  # runs from this one on
    Column("shift", Integer, nullable=False),
    Column("up_to", Integer, nullable=False),  # of the held entries it let in
    Index(None, "piece_id"),
)

clashes = entry_table(
    "clashes",
    Column("kind", String(16), nullable=False),  # piece, job, model, rig, cut, sheet
    Column("of", String(200), nullable=False),
    Column("content", JSON, nullable=False),
)

branches = entry_table(
    "branches",
    Column("name", String(8), nullable=False),
    Column("store", String(36), nullable=False),
    Column("from_number", Integer, nullable=False),  # the newest link it went on from
    Column("from_digest", String(64), nullable=False),
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
