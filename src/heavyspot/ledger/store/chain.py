"""The chain over all entries: a changed, missing or foreign row is found, and named.

Each entry gets a link: the SHA-256 of the link before it and of the entry as stored. Whoever changes a row
would have to make every later link anew; the newest link stands on every sheet that leaves the shop, so
that even a chain made anew does not fit the sheets.
"""

from __future__ import annotations

import hashlib
import json
from collections.abc import Callable, Iterator, Sequence
from dataclasses import dataclass
from typing import Any

from sqlalchemy import Connection, Engine, Table, func, insert, select, text

from .tables import chain, metadata

FIRST = "0" * 64
"""What stands before the first link."""

UNCHAINED = {"chain", "piece_index", "logins", "looks", "own_store", "arrivals", "cursors"}
"""Not part of it: itself, the projection that can be made anew, who is logged in, who saw what, what came
from where."""

LATER = {"cuts": ("never_made",), "sheets": ("kind",)}
"""Columns that came after links had been made: where they hold nothing, a link does not know them."""

BATCH = 2000

_LOCK = 7_283_401


@dataclass(frozen=True)
class Broken:
    """One thing that is not as it was written.

    Attributes
    ----------
    kind : "changed", "missing", "foreign" or "link"
    table, entry_id : str
    number : int
        Of its link; 0 for a foreign row, which has none.
    """

    kind: str
    table: str
    entry_id: str
    number: int

    def words(self) -> str:
        """Return it in words."""
        return {
            "changed": f"{self.table} {self.entry_id} was changed after it was written (link {self.number}).",
            "missing": f"{self.table} {self.entry_id} is missing (link {self.number}).",
            "foreign": f"{self.table} {self.entry_id} was not written by the program.",
            "link": f"Link {self.number} of the chain is missing.",
        }[self.kind]


def add_links(c: Connection, table: Table, entry_ids: Sequence[str]) -> None:
    """Add the links of entries that were just inserted, in order; the caller holds the lock (`lock_chain`)."""
    if table.name in UNCHAINED:
        return
    last = c.execute(
        select(chain.c.number, chain.c.digest).order_by(chain.c.number.desc()).limit(1)
    ).first()
    number, digest = (last.number, last.digest) if last else (0, FIRST)
    rows = rows_by_id(c, table, entry_ids)  # as stored: the digest must be of what is read back
    links = []
    for entry_id in entry_ids:
        number, digest = number + 1, link_digest(digest, table.name, rows[entry_id])
        links.append(
            {"number": number, "of_table": table.name, "entry_id": entry_id, "digest": digest}
        )
    c.execute(insert(chain), links)


def lock_chain(c: Connection) -> None:
    """Keep other writers waiting until this transaction ends: what it reads from now on, none changes."""
    if c.dialect.name == "postgresql":
        c.execute(text("select pg_advisory_xact_lock(:key)"), {"key": _LOCK})
    else:  # SQLite's own lock comes with the first write
        c.execute(text("delete from chain where number < 0"))


def link_digest(before: str, table: str, row: dict[str, Any]) -> str:
    """Return the digest of a link."""
    later = LATER.get(table, ())
    plain = {k: _plain(v) for k, v in row.items() if v is not None or k not in later}
    spelled = json.dumps(plain, sort_keys=True, separators=(",", ":"), ensure_ascii=False)
    return hashlib.sha256(f"{before}\n{table}\n{spelled}".encode()).hexdigest()


def _plain(value: Any) -> Any:
    if isinstance(value, (bytes, memoryview)):
        return "sha256 " + hashlib.sha256(bytes(value)).hexdigest()
    return value


def head(engine: Engine) -> tuple[int, str]:
    """Return number and digest of the newest link; 0 and zeros for an empty ledger."""
    with engine.connect() as c:
        last = c.execute(
            select(chain.c.number, chain.c.digest).order_by(chain.c.number.desc()).limit(1)
        ).first()
    return (int(last.number), str(last.digest)) if last else (0, FIRST)


def has_link(engine: Engine, digest: str) -> bool:
    """Whether a digest, as it stands on a sheet, is a link of this ledger."""
    with engine.connect() as c:
        found = c.execute(select(chain.c.number).where(chain.c.digest == digest).limit(1)).first()
    return found is not None or digest == FIRST


def check_chain(
    engine: Engine, *, progress: Callable[[int, int], None] | None = None
) -> Iterator[Broken]:
    """Yield everything that is not as it was written; memory stays flat.

    Parameters
    ----------
    progress : callable, optional
        Told links done and links in all.
    """
    tables = {t.name: t for t in metadata.sorted_tables if t.name not in UNCHAINED}
    with engine.connect() as c:
        total = int(c.execute(select(func.count()).select_from(chain)).scalar_one())
        before, expected, done = FIRST, 1, 0
        while links := c.execute(
            select(chain).where(chain.c.number >= expected).order_by(chain.c.number).limit(BATCH)
        ).all():
            rows = _rows_of(c, tables, links)
            for link in links:
                while expected < link.number:
                    yield Broken("link", "", "", expected)
                    expected += 1
                row = rows.get((link.of_table, link.entry_id))
                if row is None:
                    yield Broken("missing", link.of_table, link.entry_id, link.number)
                elif link_digest(before, link.of_table, row) != link.digest:
                    yield Broken("changed", link.of_table, link.entry_id, link.number)
                before, expected = link.digest, link.number + 1
            done += len(links)
            if progress:
                progress(done, total)
        for name, table in tables.items():
            linked = select(chain.c.entry_id).where(chain.c.of_table == name)
            for found in c.execute(select(table.c.id).where(table.c.id.not_in(linked))):
                yield Broken("foreign", name, str(found.id), 0)


def _rows_of(
    c: Connection, tables: dict[str, Table], links: Any
) -> dict[tuple[str, str], dict[str, Any]]:
    wanted: dict[str, list[str]] = {}
    for link in links:
        wanted.setdefault(link.of_table, []).append(link.entry_id)
    return {
        (name, entry_id): row
        for name, ids in wanted.items()
        if name in tables
        for entry_id, row in rows_by_id(c, tables[name], ids).items()
    }


def rows_by_id(c: Connection, table: Table, ids: Sequence[str]) -> dict[str, dict[str, Any]]:
    """Return those rows of a table that are there, by their identifiers."""
    found: dict[str, dict[str, Any]] = {}
    for at in range(0, len(ids), 500):
        query = select(table).where(table.c.id.in_(ids[at : at + 500]))
        found |= {r["id"]: dict(r) for r in c.execute(query).mappings()}
    return found
