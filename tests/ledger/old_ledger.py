"""A ledger as an earlier program left it: two pieces, a run and a cut, written with the tables of its time."""

from sqlalchemy import MetaData, insert

from heavyspot.ledger.store.chain import add_links
from heavyspot.ledger.store.schema import all_or_nothing, migrate

AT = "2026-01-01T00:00:00.000Z"
RUN = {
    "number": 1, "recording": "r.flac", "recording_sha256": "x", "conditions": {}, "verdict": "pass",
    "result": {"worst": None}, "curves": b"\0",
}  # fmt: skip
CUT = {
    "after_run": 1, "kind": "made", "plane": "nut", "angle_deg": 1.5, "unbalance_gmm": 0.1, "mass_mg": 1.0,
    "depth_mm": 1.0,
}  # fmt: skip
ENTRIES = (
    ("jobs", "j", {"customer": "Tidal Works"}),
    ("pieces", "p", {"serial": "S-1", "model": "Larch 52", "job_id": "j", "position": ""}),
    ("pieces", "q", {"serial": "S-2", "model": "Larch 52", "job_id": "j", "position": "left"}),
    ("runs", "r", {"piece_id": "p", **RUN}),
    ("cuts", "c", {"piece_id": "p", **CUT}),
)


def make_old(url, version):
    """Make it, with the links an earlier program made where it made any."""
    with all_or_nothing(url) as c:
        migrate(c, version)
        tables = MetaData()
        tables.reflect(c)
        for table, entry_id, values in ENTRIES:
            c.execute(insert(tables.tables[table]).values(id=entry_id, at=AT, **values))
            if version >= "0004":
                add_links(c, tables.tables[table], [entry_id])
