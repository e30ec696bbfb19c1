"""The search box over a million pieces, at the HTTP boundary, with the plain LIKE query beside it."""

from __future__ import annotations

import sys
import tempfile
import time
from pathlib import Path

import numpy as np
from fastapi.testclient import TestClient
from rich.console import Console
from rich.table import Table
from sqlalchemy import insert, text

from heavyspot.ledger.identity import new_id
from heavyspot.ledger.search import plain
from heavyspot.ledger.tables import jobs, piece_index, pieces
from heavyspot.web.app import create_app
from heavyspot.workshop.shop import Workshop

BATCH = 20_000
FIRST = [
    "Nord",
    "Fjord",
    "Tidal",
    "Salt",
    "Elm",
    "Quay",
    "Bright",
    "Stone",
    "Gull",
    "Heron",
    "Moor",
    "Pine",
]
SECOND = ["hafen", "gate", "mark", "wick", "ford", "holm", "stead", "mouth"]
LAST = ["Haulage", "Motors", "Works", "Marine", "Transport", "Farming", "Diesel", "Rail"]
MODELS = ["Larch 38", "Larch 52", "Alder 64", "Oak 90"]


def fill(shop, n, rng):
    """Write n pieces straight into the tables, as an import of an old book would."""
    engine = shop.book._engine
    customers = [f"{a}{b} {c}" for a in FIRST for b in SECOND for c in LAST]
    start = time.time()
    for at in range(0, n, BATCH):
        rows, jobs_, index, lines = [], [], [], []
        for i in range(at, min(at + BATCH, n)):
            job, piece = (
                new_id(1_600_000_000_000 + 60_000 * i),
                new_id(1_600_000_000_000 + 60_000 * i),
            )
            customer = customers[int(rng.integers(len(customers)))]
            model = MODELS[int(rng.integers(4))]
            serial, invoice = f"{model[0]}{i:07d}", f"{2020 + i % 7}-{i % 90_000:05d}"
            verdict = ("pass", "fail", "undecided")[int(rng.integers(3))]
            when = "2024-05-01T10:00:00.000Z"
            jobs_.append({"id": job, "at": when, "customer": customer, "invoice": invoice})
            rows.append({"id": piece, "at": when, "serial": serial, "model": model, "job_id": job})
            index.append({
                "piece_id": piece, "serial": serial, "model": model, "position": "", "job_id": job,
                "customer": customer, "invoice": invoice, "number": 2, "verdict": verdict,
                "worst_ratio": 0.5,
            })  # fmt: skip
            lines.append({"p": piece, "w": plain(f"{serial} {customer} {invoice} {model}")})
        with engine.begin() as c:
            c.execute(insert(jobs), jobs_)
            c.execute(insert(pieces), rows)
            c.execute(insert(piece_index), index)
            c.execute(text("insert into search (words, piece_id) values (:w, :p)"), lines)
        print(f"\r{at + BATCH:,} pieces, {time.time() - start:.0f} s", end="", file=sys.stderr)
    with engine.begin() as c:
        c.execute(text("insert into search_line select piece_id, rowid from search"))
    print(file=sys.stderr)


def timed(client, queries):
    """Milliseconds of each request."""
    out = []
    for q in queries:
        start = time.perf_counter()
        answer = client.get("/search/rows", params={"q": q})
        assert answer.status_code == 200, q
        out.append(1e3 * (time.perf_counter() - start))
    return np.array(out)


def main(n):
    """Print the table."""
    rng = np.random.default_rng(1)
    with tempfile.TemporaryDirectory() as folder:
        shop = Workshop(Path(folder) / "data")
        fill(shop, n, rng)
        some = [int(i) for i in rng.integers(0, n, 40)]
        typing = [f"{i:07d}"[: k + 3] for i in some[:15] for k in range(5)]
        kinds = {
            "as one types a serial": typing,
            "whole serials": [f"{i:07d}" for i in some],
            "customer and model": [f"{a.lower()}{b[:3]} larch" for a in FIRST for b in SECOND[:3]],
            "filtered": [f"{a.lower()} verdict:fail model:oak" for a in FIRST],
            "typed wrong": [f"{a[:-1].lower()}x{SECOND[k % 8]} {LAST[k % 8][:-1]}" for k, a in enumerate(FIRST)],
        }  # fmt: skip
        table = Table(
            "asked",
            "median ms",
            "95 % ms",
            "worst ms",
            "wanted",
            title=f"Search, {n:,} pieces, SQLite",
        )
        app = create_app(Path(folder) / "data")
        with TestClient(app, base_url="http://127.0.0.1") as client:
            for what, queries in kinds.items():
                ms = timed(client, queries)
                table.add_row(
                    what,
                    f"{np.median(ms):.0f}",
                    f"{np.quantile(ms, 0.95):.0f}",
                    f"{ms.max():.0f}",
                    "95 % < 100",
                )
            ms = []
            for k in range(20):
                start = time.perf_counter()
                client.post("/api/pieces", json={"serial": f"new-{k}", "model": "Larch 52"})
                ms.append(1e3 * (time.perf_counter() - start))
            table.add_row(
                "a new piece",
                f"{np.median(ms):.0f}",
                f"{np.quantile(ms, 0.95):.0f}",
                f"{max(ms):.0f}",
                "< 50",
            )
        with shop.book._engine.connect() as c:
            for what, words in (("a common word", "%nordgate%"), ("a serial", f"%{some[0]:07d}%")):
                like = text(
                    "select piece_id from piece_index where customer || ' ' || serial || ' ' || model"
                    " like :a order by piece_id desc limit 50"
                )
                ms = []
                for _ in range(5):
                    start = time.perf_counter()
                    c.execute(like, {"a": words}).all()
                    ms.append(1e3 * (time.perf_counter() - start))
                table.add_row(
                    f"plain LIKE, {what}", f"{np.median(ms):.0f}", "", f"{max(ms):.0f}", ""
                )
        shop.close()
    Console(width=110).print(table)


if __name__ == "__main__":
    main(int(sys.argv[1]) if len(sys.argv) > 1 else 1_000_000)
