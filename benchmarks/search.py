"""A million pieces with four million runs on both engines, at the HTTP boundary, beside the plain LIKE query.

Asked: search as one types, a piece's page, opening a new piece.
"""

from __future__ import annotations

import sys
import tempfile
import time
from contextlib import contextmanager, nullcontext
from pathlib import Path

import numpy as np
from fastapi.testclient import TestClient
from rich.console import Console
from rich.table import Table
from sqlalchemy import text

from benchmarks.big_shop import FIRST, LAST, SECOND, fill
from heavyspot.web.app import create_app
from heavyspot.workshop.demo.rigs import furnish
from heavyspot.workshop.shop import Workshop

sys.path.insert(0, str(Path(__file__).parent.parent / "tests"))
from ledger.postgres import server  # the tests' own server


def timed(ask, times):
    """Milliseconds of each request."""
    out = []
    for what in times:
        start = time.perf_counter()
        answer = ask(what)
        out.append(1e3 * (time.perf_counter() - start))
        assert answer.status_code in (200, 201), (what, answer.status_code, answer.text[-900:])
    return np.array(out)


def queries(n, rng):
    """What is typed, by kind."""
    some = [int(i) for i in rng.integers(0, n, 40)]
    return {
        "as one types a serial": [f"{i:07d}"[: k + 3] for i in some[:15] for k in range(5)],
        "whole serials": [f"{i:07d}" for i in some],
        "customer and model": [f"{a.lower()}{b[:3]} larch" for a in FIRST for b in SECOND[:3]],
        "a supplier's lot": [f"l-{20 + k % 6}0{1 + k % 9}1" for k in range(12)],
        "filtered": [f"{a.lower()} verdict:pass model:oak" for a in FIRST],
        "typed wrong": [f"{a[:-1].lower()}x{SECOND[k % 8]} {LAST[k % 8][:-1]}" for k, a in enumerate(FIRST)],
    }  # fmt: skip


def measured(folder, n):
    """Yield what was asked, milliseconds, and what is wanted."""
    rng = np.random.default_rng(1)
    shop = Workshop(folder)
    furnish(shop)
    fill(shop, n)
    serials = [r.serial for r in shop.book.search.find("larch 52", most=30).rows]
    with TestClient(create_app(folder), base_url="http://127.0.0.1") as client:
        for what, typed in queries(n, rng).items():
            ms = timed(lambda q: client.get("/search/rows", params={"q": q}), typed)
            yield what, ms, "95 % < 100"
        yield "a piece's story", timed(lambda s: client.get(f"/story/{s}"), serials), "< 150"
        yield "a piece's page", timed(lambda s: client.get(f"/pieces/{s}"), serials), "< 150"
        new = [
            {"serial": f"new-{k}", "model": "Larch 52", "customer": "Tidal", "invoice": f"new {k}"}
            for k in range(20)
        ]
        yield "a new piece", timed(lambda b: client.post("/api/pieces", json=b), new), "< 50"
    with shop.book._engine.connect() as c:
        for what, words in (("a common word", "%nordgate%"), ("a serial", f"%{n // 3:07d}%")):
            like = text(
                "select piece_id from piece_index where customer || ' ' || serial || ' ' || model"
                " like :a order by piece_id desc limit 50"
            )
            ms = []
            for _ in range(5):
                start = time.perf_counter()
                c.execute(like, {"a": words}).all()
                ms.append(1e3 * (time.perf_counter() - start))
            yield f"plain LIKE, {what}", np.array(ms), ""
    shop.close()


@contextmanager
def engine(name):
    """A data folder whose ledger lies on an engine."""
    with (
        tempfile.TemporaryDirectory() as folder,
        server() if name == "PostgreSQL" else nullcontext("") as url,
    ):
        data = Path(folder) / "data"
        data.mkdir()
        if url:
            (data / "shop.toml").write_text(f'ledger_url = "{url}"\n')
        yield data


def main(n, engines):
    """Print the table."""
    columns: dict[str, dict[str, str]] = {}
    wanted: dict[str, str] = {}
    for name in engines:
        with engine(name) as data:
            for what, ms, want in measured(data, n):
                columns.setdefault(what, {})[name] = (
                    f"{np.median(ms):.0f} / {np.quantile(ms, 0.95):.0f} / {ms.max():.0f}"
                )
                wanted[what] = want
    title = f"{n:,} pieces, {4 * n:,} runs; ms: median / 95 % / worst"
    table = Table("asked", *engines, "wanted", title=title)
    for what, by_engine in columns.items():
        table.add_row(what, *(by_engine.get(e, "") for e in engines), wanted[what])
    Console(width=110).print(table)


if __name__ == "__main__":
    main(
        int(sys.argv[1]) if len(sys.argv) > 1 else 1_000_000,
        sys.argv[2].split(",") if len(sys.argv) > 2 else ["SQLite", "PostgreSQL"],
    )
