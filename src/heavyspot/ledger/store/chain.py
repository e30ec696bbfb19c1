"""The chain over all entries: a changed, missing or foreign row is found, and named.

Each entry gets a link: the SHA-256 of the link before it and of the entry as stored. Whoever changes a row
would have to make every later link anew; the newest link stands on every sheet that leaves the shop, so
that even a chain made anew does not fit the sheets.
"""

from __future__ import annotations

import contextlib
import hashlib
import json
from collections.abc import Callable, Iterator, Sequence
from dataclasses import dataclass
from typing import Any

from sqlalchemy import Connection, Engine, Table, func, insert, select, text

from ..trail import Trail
from .tables import chain, metadata

FIRST = "0" * 64
"""What stands before the first link."""

UNCHAINED = {
    "chain", "piece_index", "logins", "looks", "once", "own_store", "arrivals", "cursors", "upgrades",
    "tree", "heads",
}  # fmt: skip
"""Not part of it: itself, the projection that can be made anew, who is logged in, who saw what, what
was asked under a key, what came from where, which programs brought it to their schema,
where chains ended when."""

OF_ONE_STORE = {
    "users", "pins", "keys", "passkeys", "stations", "held", "takings", "clashes", "retired", "branches",
}  # fmt: skip
"""Entries that never leave their store: who may log in there, what was decided about arrivals,
which recordings it removed, where it went on from a backup."""

LATER = {
    "cuts": ("never_made",),
    "sheets": ("kind", "kept_as", "sha256"),
    "runs": ("beside_sha256",),
    "rotor_runs": ("beside_sha256",),
}
"""Columns that came after links had been made: where they hold nothing, a link does not know them."""

BATCH = 2000

_LOCK = 7_283_401


@dataclass(frozen=True)
class Broken:
    """One thing that is not as it was written.

    Attributes
    ----------
    kind : "changed", "missing", "foreign", "link", "index", "node" or "database"
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
            "index": f"The index of pieces, {self.table}, does not say of {self.entry_id} what its entries say; "
            "heavyspot reindex makes it anew.",
            "node": f"A kept node of the tree over the links, {self.number}, is not what they give.",
            "database": f"The database itself is damaged: {self.table}.",
        }[self.kind]


def add_links(
    c: Connection, table: Table, entry_ids: Sequence[str], end: End | None = None
) -> None:
    """Add the links of entries that were just inserted, in order; the caller holds the lock (`lock_chain`)."""
    if table.name in UNCHAINED:
        return
    end = end or end_of(c)
    number, digest = end.number, end.digest
    rows = rows_by_id(c, table, entry_ids)  # as stored: the digest must be of what is read back
    links = []
    for entry_id in entry_ids:
        number, digest = number + 1, link_digest(digest, table.name, rows[entry_id])
        links.append(
            {"number": number, "of_table": table.name, "entry_id": entry_id, "digest": digest}
        )
    c.execute(insert(chain), links)


def link_of(table: Table) -> Any:
    """Return, for a query on a table, the number of an entry's link: what is newer, whatever a clock said then.

    An entry somebody else put in has none, and is older than all.
    """
    mine = select(chain.c.number).where(chain.c.entry_id == table.c.id).limit(1)
    return func.coalesce(mine.scalar_subquery(), 0)


@dataclass(frozen=True)
class End:
    """The end of the chain: its newest link, and the identifiers of the last entries."""

    number: int
    digest: str
    entry_ids: tuple[str, ...]


def end_of(c: Connection) -> End:
    """Return the end of the chain, as a transaction sees it: what a new entry stands and sorts behind."""
    rows = c.execute(select(chain).order_by(chain.c.number.desc()).limit(20)).all()
    ids = tuple(str(r.entry_id) for r in rows)
    return End(int(rows[0].number), str(rows[0].digest), ids) if rows else End(0, FIRST, ())


def lock_chain(c: Connection) -> None:
    """Keep other writers waiting until this transaction ends: what it reads from now on, none changes."""
    if c.dialect.name == "postgresql":
        c.execute(text("select pg_advisory_xact_lock(:key)"), {"key": _LOCK})
    else:  # SQLite's own lock comes with the first write
        c.execute(text("delete from chain where number < 0"))


def link_digest(before: str, table: str, row: dict[str, Any]) -> str:
    """Return the digest of a link."""
    return link_over(before, table, spelled_row(table, row))


def link_over(before: str, table: str, spelled: str) -> str:
    """Return the digest of a link over an entry as `spelled_row` spells it."""
    return hashlib.sha256(f"{before}\n{table}\n{spelled}".encode()).hexdigest()


def spelled_row(table: str, row: dict[str, Any]) -> str:
    """Return an entry as it is linked: JSON, sorted keys; of bytes their digest."""
    later = LATER.get(table, ())
    plain = {k: _plain(v) for k, v in row.items() if v is not None or k not in later}
    return json.dumps(plain, sort_keys=True, separators=(",", ":"), ensure_ascii=False)


def _plain(value: Any) -> Any:
    if isinstance(value, (bytes, memoryview)):
        return "sha256 " + hashlib.sha256(bytes(value)).hexdigest()
    return value


def head(engine: Engine) -> tuple[int, str]:
    """Return number and digest of the newest link; 0 and zeros for an empty ledger."""
    with engine.connect() as c:
        return head_of(c)


def head_of(c: Connection) -> tuple[int, str]:
    """Return number and digest of the newest link, as a transaction sees it."""
    last = c.execute(
        select(chain.c.number, chain.c.digest).order_by(chain.c.number.desc()).limit(1)
    ).first()
    return (int(last.number), str(last.digest)) if last else (0, FIRST)


def has_link(engine: Engine, digest: str) -> bool:
    """Whether a digest, as it stands on a sheet, is a link of this ledger."""
    with engine.connect() as c:
        found = c.execute(select(chain.c.number).where(chain.c.digest == digest).limit(1)).first()
    return found is not None or digest == FIRST


def has_entry(engine: Engine, entry_id: str) -> bool:
    """Whether an entry is in the ledger."""
    with engine.connect() as c:
        found = c.execute(select(chain.c.number).where(chain.c.entry_id == entry_id).limit(1))
        return found.first() is not None


def check_chain(
    engine: Engine,
    *,
    progress: Callable[[int, int], None] | None = None,
    trail: Trail | None = None,
) -> Iterator[Broken]:
    """Yield everything that is not as it was written; memory stays flat.

    Parameters
    ----------
    progress : callable, optional
        Told links done and links in all.
    trail : Trail, optional
        Where an earlier run was stopped: entries behind its mark are not read again.
    """
    tables = {t.name: t for t in metadata.sorted_tables if t.name not in UNCHAINED}
    with engine.connect() as c:
        yield from check_links(c, tables, progress=progress, trail=trail)


def check_links(
    c: Connection,
    tables: dict[str, Table],
    *,
    progress: Callable[[int, int], None] | None = None,
    trail: Trail | None = None,
) -> Iterator[Broken]:
    """Yield everything that is not as it was written, as a transaction sees it, in tables as they are there."""
    total = int(c.execute(select(func.count()).select_from(chain)).scalar_one())
    trail = trail or Trail()
    done = trail.skip(_named(link) for link in _links(c))
    before, expected = _digest_of(c, done), done + 1
    while links := c.execute(
        select(chain).where(chain.c.number >= expected).order_by(chain.c.number).limit(BATCH)
    ).all():
        rows = _rows_of(c, tables, links)
        for link in links:
            while expected < link.number:
                trail.failed()
                yield Broken("link", "", "", expected)
                expected += 1
            row = rows.get((link.of_table, link.entry_id))
            whole = row is not None and link_digest(before, link.of_table, row) == link.digest
            if whole:
                trail.passed(_named(link))
            else:
                trail.failed()
                kind = "missing" if row is None else "changed"
                yield Broken(kind, link.of_table, link.entry_id, link.number)
            before, expected = link.digest, link.number + 1
        done += len(links)
        if progress:
            progress(done, total)
    for name, table in tables.items():
        linked = select(chain.c.entry_id).where(chain.c.of_table == name)
        for found in c.execute(select(table.c.id).where(table.c.id.not_in(linked))):
            yield Broken("foreign", name, str(found.id), 0)


def _links(c: Connection) -> Iterator[Any]:
    """Yield the links from the first on, without their entries."""
    rows = c.execute(select(chain).order_by(chain.c.number).execution_options(yield_per=BATCH))
    with contextlib.closing(rows):
        yield from rows


def _named(link: Any) -> str:
    return f"{link.number} {link.of_table} {link.entry_id} {link.digest}"


def _digest_of(c: Connection, number: int) -> str:
    found = c.execute(select(chain.c.digest).where(chain.c.number == number)).scalar()
    return str(found) if found is not None else FIRST


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
