"""A shop of a million pieces and four million runs, written straight into the tables, on either engine.

Invented throughout. The chain is left out: it plays no part in what is measured, and would take hours.
"""

from __future__ import annotations

import datetime
import json
import random
import sys
import time

from sqlalchemy import text

from heavyspot.ledger.find.search import plain
from heavyspot.ledger.store.identity import new_id
from heavyspot.ledger.store.tables import cuts, events, jobs, piece_index, pieces, runs

BATCH = 20_000
FIRST = "Nord Fjord Tidal Salt Elm Quay Bright Stone Gull Heron Moor Pine".split()  # noqa: SIM905  # a list of words reads better
SECOND = "hafen gate mark wick ford holm stead mouth".split()  # noqa: SIM905  # as above
LAST = "Haulage Motors Works Marine Transport Farming Diesel Rail".split()  # noqa: SIM905  # as above
MODELS = ["Larch 38", "Larch 52", "Alder 64", "Oak 90"]
SUPPLIERS = ["Gullwick Castings", "Moorgate Turning", "Saltholm Foundry"]
OPERATORS = ["Ida", "Jon", "Mette", "Sami", "Rosa", "Bo"]
RIGS = ["High 1", "High 2", "East 1"]
START = datetime.datetime(2019, 1, 7, 8, 0)
RUNS = (2, 3, 4, 4, 5, 6)
"""Runs of a piece, four on average."""

CONDITIONS = "{}"
ADVICE: dict[str, object] = {
    "action": "stop", "cuts": [], "predicted": None, "chance_of_pass": 0.0, "expected_ratio": 0.0,
    "trial": False, "why": "",
}  # fmt: skip


def rows_of(first, last, seed):
    """Rows of pieces first to last, by table, as tuples in the order of `COLUMNS`."""
    rng = random.Random(seed * 1_000_003 + first)
    out: dict[str, list[tuple[object, ...]]] = {name: [] for name in COLUMNS}
    customers = [f"{a}{b} {c}" for a in FIRST for b in SECOND for c in LAST]
    for i in range(first, last):
        when = START + datetime.timedelta(minutes=3.6 * i)
        ms = int(when.timestamp() * 1000)
        at, day = when.isoformat(timespec="milliseconds") + "Z", when.date().isoformat()
        job, piece = new_id(ms), new_id(ms)
        model, customer = rng.choice(MODELS), rng.choice(customers)
        serial, invoice = f"{model[0]}{i:07d}", f"{when.year}-{i % 90_000:05d}"
        supplier = rng.randrange(3)
        lot = f"L-{when.year % 100}{when.month:02d}{supplier}"
        rig, operator = rng.choice(RIGS), rng.choice(OPERATORS)
        out["jobs"].append((job, at, operator, customer, invoice))
        out["pieces"].append((piece, at, operator, serial, model, job))
        content = {
            "parts": [{"part": "turbine shaft", "supplier": SUPPLIERS[supplier], "lot": lot}]
        }
        out["happenings"].append(
            (new_id(ms + 1), at, operator, piece, "parts", json.dumps(content))
        )
        many, ratio = rng.choice(RUNS), rng.lognormvariate(0.9 + 0.15 * supplier, 0.4)
        for n in range(1, many + 1):
            then = when + datetime.timedelta(minutes=11 * n)
            at_run, run_ms = then.isoformat(timespec="milliseconds") + "Z", ms + 660_000 * n
            ratio *= 1.0 if n == 1 else rng.uniform(0.3, 0.8)
            verdict = "pass" if ratio < 0.9 else "undecided" if ratio < 1.05 else "fail"
            worst = {
                "speed_rpm": 150000.0,
                "amplitude_g": ratio / 2,
                "uncertainty_g": 0.01,
                "limit_g": 0.5,
                "ratio": ratio,
            }
            result = {"verdict": verdict, "margin": 1 - ratio, "worst": worst, "reason": "", "findings": [],
                      "notes": [], "pickup": None, "advice": ADVICE}  # fmt: skip
            out["runs"].append((
                new_id(run_ms), at_run, operator, piece, n, rig, CONDITIONS, verdict, ratio,
                json.dumps(result), b"",
            ))  # fmt: skip
            if n < many:
                out["cuts"].append((
                    new_id(run_ms + 1), at_run, operator, piece, n, "made", "nut", rng.uniform(0, 360), 8 * ratio,
                    6 * ratio, 0.05 * ratio,
                ))  # fmt: skip
        if rng.random() < 0.002 * (1 + 6 * ratio):
            claim = when + datetime.timedelta(days=rng.expovariate(1 / 400))
            out["happenings"].append((
                new_id(int(claim.timestamp() * 1000)), claim.isoformat(timespec="milliseconds") + "Z", operator,
                piece, "claim", json.dumps({"text": "howls"}),
            ))  # fmt: skip
        out["piece_index"].append((
            piece, serial, model, "", job, customer, invoice, many, verdict, ratio, day,
        ))  # fmt: skip
        words = plain(
            f"{serial} {customer} {invoice} {model} {operator} {SUPPLIERS[supplier]} {lot}"
        )
        out["search"].append((i + 1, words, piece))
    return out


COLUMNS = {
    "jobs": "id at by customer invoice",
    "pieces": "id at by serial model job_id",
    "piece_index": "piece_id serial model position job_id customer invoice number verdict worst_ratio day",
    "happenings": "id at by piece_id kind content",
    "runs": "id at by piece_id number rig conditions verdict worst_ratio result curves",
    "cuts": "id at by piece_id after_run kind plane angle_deg unbalance_gmm mass_mg depth_mm",
    "search": "line words piece_id",
}
DEFAULTS = {"runs": ("recording", "recording_sha256")}


def fill(shop, n, seed=1):
    """Write n pieces with their runs, cuts, parts and claims."""
    engine, start = shop.book._engine, time.time()
    put = _sqlite if engine.dialect.name == "sqlite" else _postgres
    with engine.connect() as c:
        for name, order in (("jobs", jobs), ("pieces", pieces), ("piece_index", piece_index),
                            ("happenings", events), ("runs", runs), ("cuts", cuts)):  # fmt: skip
            missing = set(COLUMNS[name].split()) - set(order.c.keys())
            assert not missing, (name, missing)
        put(c, n, seed, start)
    print(file=sys.stderr)


def _say(done, start):
    print(f"\r{done:,} pieces, {time.time() - start:.0f} s", end="", file=sys.stderr)


def _fields(name):
    return [*COLUMNS[name].split(), *DEFAULTS.get(name, ())]


def _sqlite(c, n, seed, start):
    raw = c.connection.dbapi_connection
    raw.execute("pragma synchronous=off")
    raw.execute("pragma foreign_keys=off")
    for at in range(0, n, BATCH):
        for name, rows in rows_of(at, min(at + BATCH, n), seed).items():
            if name == "search":
                raw.executemany(
                    "insert into search (rowid, words, piece_id) values (?, ?, ?)", rows
                )
                raw.executemany(
                    "insert into search_line values (?, ?)", [(p, line) for line, _, p in rows]
                )
                continue
            fields = _fields(name)
            rows = [r + ("",) * (len(fields) - len(r)) for r in rows]
            marks = ", ".join("?" * len(fields))
            raw.executemany(
                f"insert into {name} ({', '.join(chr(34) + f + chr(34) for f in fields)}) values ({marks})",
                rows,
            )
        raw.commit()
        _say(min(at + BATCH, n), start)
    raw.execute("pragma synchronous=full")
    raw.execute("pragma foreign_keys=on")
    raw.execute("analyze")
    raw.commit()


def _postgres(c, n, seed, start):
    c.execute(text("drop index if exists ix_search_words"))
    c.commit()
    raw = c.connection.dbapi_connection
    for at in range(0, n, BATCH):
        with raw.cursor() as cursor:
            for name, rows in rows_of(at, min(at + BATCH, n), seed).items():
                if name == "search":
                    fields, rows = ["piece_id", "words"], [(p, w) for _, w, p in rows]
                else:
                    fields = _fields(name)
                    rows = [r + ("",) * (len(fields) - len(r)) for r in rows]
                named = ", ".join('"' + f + '"' for f in fields)
                with cursor.copy(f"copy {name} ({named}) from stdin") as copy:
                    for row in rows:
                        copy.write_row(row)
        raw.commit()
        _say(min(at + BATCH, n), start)
    if c.execute(text("select 1 from pg_extension where extname = 'pg_trgm'")).scalar():
        c.execute(text("create index ix_search_words on search using gin (words gin_trgm_ops)"))
    c.commit()
    raw.autocommit = True
    with raw.cursor() as cursor:
        cursor.execute("vacuum analyze")
    raw.autocommit = False
