"""The copy itself: one DuckDB file in the data folder, made anew at any time, kept up by the chain.

Views for questions of one's own: ``pieces`` (one row a piece, with what its runs and cuts come to), ``runs``,
``cuts``, ``parts``, ``claims``, ``advice``. docs/reference/insight.md lists their columns.
"""

from __future__ import annotations

import csv
import json
import tempfile
import threading
from collections.abc import Callable, Iterable, Iterator
from contextlib import contextmanager
from importlib.resources import files
from pathlib import Path
from typing import Any, TypeVar

from ...ledger.find.bulk_rows import COLUMNS
from ...quantities.errors import LedgerFault, need
from ...quantities.private import close_to_others
from ..shop import Workshop

A = TypeVar("A")

FILE = "insight.duckdb"

FORM = 3
"""Of the tables; another form is made anew."""


def _sql(name: str) -> str:
    return (files(__package__) / name).read_text(encoding="utf-8")


Progress = Callable[[int, int], None]
busy = threading.Lock()
"""Held while the file is open: one at a time."""


def refresh(
    shop: Workshop, *, progress: Progress | None = None, stop: Callable[[], bool] = lambda: False
) -> dict[str, Any]:
    """Bring the copy up to the ledger's newest entry; returns ``number`` of the chain and ``pieces``.

    Raises
    ------
    LedgerFault
        The copy is in use by another program, or it was stopped (the old copy stays).
    """
    with busy:
        path = shop.book.folder / FILE
        number, _ = shop.book.head()
        with _open(path) as c:
            seen = _seen(c)
            if seen == number and number:
                return _told(c, number)
            if seen is None or number == 0 or number - seen > 200_000:
                _whole(shop, c, progress, stop)
            else:
                _more(shop, c, seen, number)
            c.execute(_sql("facts.sql"))
            c.execute(_sql("views.sql"))
            state = "create or replace table state as select ? as form, ? as number"
            c.execute(state, [FORM, number])
            return _told(c, number)


def _told(c: Any, number: int) -> dict[str, Any]:
    return {"number": number, "pieces": c.execute("select count(*) from facts").fetchone()[0]}


@contextmanager
def _open(path: Path, *, read_only: bool = False) -> Iterator[Any]:
    need("duckdb", "insight", "The statistics of Insight")
    import duckdb

    new = not path.exists()
    try:
        c = duckdb.connect(str(path), read_only=read_only)
    except (duckdb.IOException, duckdb.BinderException) as fault:
        raise LedgerFault(
            f"The statistics cannot be opened ({str(fault).splitlines()[0]}).",
            remedy=f"Wait for the other program; or remove {FILE} from the data folder: it is made anew.",
        ) from None
    if new:
        close_to_others(path)
    try:
        yield c
    finally:
        c.close()


def _seen(c: Any) -> int | None:
    import duckdb

    try:
        row = c.execute("select form, number from state").fetchone()
    except duckdb.CatalogException:
        return None
    return int(row[1]) if row and row[0] == FORM else None


def _whole(shop: Workshop, c: Any, progress: Progress | None, stop: Callable[[], bool]) -> None:
    total, done = sum(shop.book.bulk.count().values()), 0
    c.execute("begin")
    c.execute(_sql("raw.sql"))
    for name in COLUMNS:
        for rows in shop.book.bulk.all(name):
            _put(c, name, rows)
            done += len(rows)
            if progress:
                progress(done, total)
            if stop():
                c.execute("rollback")
                raise LedgerFault(
                    "Stopped; the statistics are as they were.", remedy="Begin again."
                )
    c.execute("commit")


def _more(shop: Workshop, c: Any, seen: int, number: int) -> None:
    new = shop.book.bulk.since(seen, number)
    c.execute("begin")
    ids = [r[0] for r in new["pieces"]]
    c.execute("delete from raw_pieces where piece_id in (select unnest(?))", [ids])
    for name, rows in new.items():
        _put(c, name, rows)
    c.execute("commit")


def _put(c: Any, name: str, rows: list[tuple[Any, ...]]) -> None:
    """Write rows, through a file: by far the fastest way in."""
    if not rows:
        return
    with tempfile.TemporaryDirectory(ignore_cleanup_errors=True) as folder:
        path = Path(folder) / "rows.csv"
        with path.open("w", encoding="utf-8", newline="") as file:
            csv.writer(file).writerows(_told_rows(rows) if name == "told" else rows)
        described = c.execute(f"describe raw_{name}").fetchall()
        columns = {str(r[0]): str(r[1]) for r in described}
        c.execute(
            f"insert into raw_{name} select * from read_csv(?, header = false, columns = {columns!r},"
            " nullstr = '', force_not_null = ?)",
            [str(path), [k for k, t in columns.items() if t == "VARCHAR" and k != "replaces"]],
        )


def _told_rows(rows: Iterable[tuple[Any, ...]]) -> Iterator[tuple[Any, ...]]:
    """Yield one row for each part, and one for every other thing that happened."""
    for id_, piece_id, at, kind, content in rows:
        told = json.loads(content) if isinstance(content, str) else content
        for p in told.get("parts", [{}]) if kind == "parts" else [{}]:
            yield (
                id_,
                piece_id,
                at,
                kind,
                p.get("part", ""),
                p.get("supplier", ""),
                p.get("lot", ""),
            )


def asked(
    shop: Workshop, kind: Callable[..., A], question: str, values: Iterable[Any] = ()
) -> list[A]:
    """Return the answer to one of the program's own questions, a value of `kind` for each row."""
    with busy, _open(shop.book.folder / FILE, read_only=True) as c:
        found = c.execute(question, list(values))
        names = [d[0] for d in found.description]
        return [kind(**dict(zip(names, row, strict=True))) for row in found.fetchall()]
