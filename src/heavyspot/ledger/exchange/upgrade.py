"""A ledger of an earlier program brought up to date: copied first, all at once or not at all, proved by its links.

The copy is the ledger as it was, in a SQLite file of its own that the earlier program opens; of PostgreSQL it is
made row by row. It is read back before anything is changed. Then the tables are changed within one transaction,
which ends well only when each entry still fits its link and the newest link is the same. Cut at any moment, the old
ledger is there, or the new one; started again, it goes on, and a copy that is whole is not made twice.
"""

from __future__ import annotations

import contextlib
import sqlite3
from collections.abc import Callable
from dataclasses import dataclass
from pathlib import Path

from sqlalchemy import Connection, MetaData, Table, func, insert, inspect, select

from ..._version import __version__
from ...quantities import durable
from ...quantities.errors import LedgerFault
from ..find.search import index_pieces
from ..store.chain import UNCHAINED, Broken, check_links, head_of, lock_chain
from ..store.entries import now_utc
from ..store.schema import (
    HEAD,
    all_or_nothing,
    connected,
    light,
    migrate,
    refuse_newer,
    schema_of,
    version_of,
)
from ..store.tables import piece_index, upgrades

BATCH = 2000

CHAINED_SINCE = "0004"
"""Before it there were no links, and what is there is counted."""

SEARCHED_SINCE = "0007"

KEPT_AS_THEY_ARE = ("arrivals", "cursors", "looks", "once")
"""Tables without links whose rows are counted before and after."""

Progress = Callable[[str, int, int], None]


@dataclass(frozen=True)
class Upgraded:
    """What an upgrade did.

    Attributes
    ----------
    from_schema, to_schema : str
    entries : int
        With a link, before and after.
    head : str
        The newest link, before and after.
    copy : str
        File in which the ledger lies as it was; empty where none was asked for.
    faults : tuple of Broken
        What was not as it was written before; it is the same after.
    """

    from_schema: str
    to_schema: str
    entries: int
    head: str
    copy: str
    faults: tuple[Broken, ...] = ()


@dataclass(frozen=True)
class _Facts:
    """What must be the same before and after."""

    number: int
    head: str
    faults: frozenset[Broken]
    counts: tuple[tuple[str, int], ...]


def upgrade_ledger(
    url: str, copies: Path | None, *, progress: Progress | None = None
) -> Upgraded | None:
    """Bring a ledger to this program's schema; None when it is there already, or the database is empty.

    Parameters
    ----------
    url : str
        SQLAlchemy URL.
    copies : Path, optional
        Folder the copy is put into. Without one no copy is made: of what is itself a copy.

    Raises
    ------
    LedgerFault
        It is a newer program's, the copy does not read back, or the result is not what it was; nothing was changed.
    LedgerAway
        The disk or the database refuses; nothing was changed.
    """
    engine = connected(url)
    try:
        version = version_of(engine)
        if version is None or version == HEAD:
            return None
        refuse_newer(engine, version)
    finally:
        engine.dispose()
    with all_or_nothing(url) as c:
        if not light(c):
            lock_chain(c)
        if schema_of(c) != version:  # another program was faster
            return None
        before, copy = _facts(c, version, progress, "reading"), None
        if copies is not None:
            copy = _copied(c, url, version, copies, before, progress)
        if progress:
            progress("changing tables", 0, 1)
        migrate(c)
        after = _facts(c, HEAD, progress, "reading back")
        _refuse_another(before, after, version)
        c.execute(
            insert(upgrades).values(
                at=now_utc(), schema=HEAD, from_schema=version, program=__version__,
                number=after.number, digest=after.head, copy=str(copy or "")[-400:],
            )
        )  # fmt: skip
    faults = tuple(sorted(before.faults, key=lambda b: (b.number, b.table, b.entry_id)))
    return Upgraded(version, HEAD, after.number, after.head, str(copy or ""), faults)


def _refuse_another(before: _Facts, after: _Facts, version: str) -> None:
    """Raise `LedgerFault` unless all that was there is there as it was."""
    same = before.counts == after.counts
    if version >= CHAINED_SINCE:
        same = same and (before.number, before.head) == (after.number, after.head)
        same = same and before.faults == after.faults
    else:
        same = same and not after.faults
    if not same:
        raise LedgerFault(
            f"Brought from schema {version} to {HEAD} the ledger would not be what it was; nothing was changed.",
            remedy="Go on with the program of before, and hand the copy to who looks after this one.",
        )


def _facts(c: Connection, version: str, progress: Progress | None, what: str) -> _Facts:
    """Return what a ledger of any schema holds: its chain, read whole, and how many rows there are."""
    tables = _as_they_are(c)

    def show(done: int, total: int) -> None:
        if progress:
            progress(what, done, total)

    number, head, faults = 0, "", frozenset[Broken]()
    if version >= CHAINED_SINCE:
        chained = {n: t for n, t in tables.items() if n not in UNCHAINED and "id" in t.c}
        number, head = head_of(c)
        faults = frozenset(check_links(c, chained, progress=show))
    counted = [n for n in tables if n not in UNCHAINED or n in KEPT_AS_THEY_ARE]
    counts = {
        n: int(c.execute(select(func.count()).select_from(tables[n])).scalar_one()) for n in counted
    }
    there = tuple(sorted((n, k) for n, k in counts.items() if k))  # a new table is empty
    return _Facts(number, head, faults, there)


def _as_they_are(c: Connection) -> dict[str, Table]:
    """Return the tables as they are there, without those of the search, which are made anew."""
    names = [
        n
        for n in inspect(c).get_table_names()
        if not n.startswith("search") and n not in ("alembic_version",)
    ]
    there = MetaData()
    there.reflect(c, only=names)
    return {t.name: t for t in there.sorted_tables if t.name in names}


def _copied(
    c: Connection, url: str, version: str, copies: Path, before: _Facts, progress: Progress | None
) -> Path:
    """Return the file in which the ledger lies as it is, read back from its disk."""
    path = copies / f"ledger-{version}-{before.head[:12] or 'first'}.sqlite"
    if path.exists() and _is(path, version, before):
        return path
    part = durable.aside(path)
    try:
        durable.make_folder(copies)
        durable.remove(part)
        durable.make_private(part)
        if progress:
            progress("copying", 0, 1)
        if c.dialect.name == "sqlite":
            _copy_file(c, part)
        else:
            _copy_rows(c, version, part, progress)
        durable.sync_file(part)
        durable.forget(part)
        if not _is(part, version, before):
            raise LedgerFault(
                f"The copy in {copies} does not read back; nothing was changed.",
                remedy="Check that folder's disk, then start the upgrade again.",
            )
        durable.put(part, path)
    except (OSError, sqlite3.Error) as fault:
        with contextlib.suppress(OSError):
            durable.remove(part)
        raise LedgerFault(
            f"The ledger could not be copied into {copies} ({fault}); nothing was changed.",
            remedy="Make room on its disk, then start the upgrade again.",
        ) from None
    return path


def _copy_file(c: Connection, to: Path) -> None:
    """Copy a SQLite ledger through SQLite, by a connection of its own: this one holds writers off."""
    source = c.exec_driver_sql("PRAGMA database_list").first()
    assert source is not None
    with (
        contextlib.closing(sqlite3.connect(f"file:{source[2]}?mode=ro", uri=True)) as old,
        contextlib.closing(sqlite3.connect(to)) as new,
    ):
        old.backup(new, pages=2000)
        new.execute("pragma journal_mode=delete")


def _copy_rows(c: Connection, version: str, to: Path, progress: Progress | None) -> None:
    """Copy a ledger row by row into a SQLite file of the same schema."""
    with all_or_nothing(f"sqlite:///{to}") as new:
        migrate(new, version)
        target = _as_they_are(new)
        for name, table in _as_they_are(c).items():
            new.execute(target[name].delete())
            total = int(c.execute(select(func.count()).select_from(table)).scalar_one())
            rows = c.execute(select(table).execution_options(yield_per=BATCH)).mappings()
            for done, part in enumerate(rows.partitions(BATCH)):
                new.execute(insert(target[name]), [dict(r) for r in part])
                if progress:
                    progress(f"copying {name}", done * BATCH, total)
        if version >= SEARCHED_SINCE:
            index_pieces(new, [r.piece_id for r in new.execute(select(piece_index.c.piece_id))])
    with contextlib.closing(sqlite3.connect(to)) as made:
        made.execute("pragma journal_mode=delete")


def _is(path: Path, version: str, before: _Facts) -> bool:
    """Whether a file is a ledger of a schema that holds just that."""
    if path.stat().st_size == 0:
        return False
    engine = connected(f"sqlite:///{path}")
    try:
        with engine.connect() as c:
            return schema_of(c) == version and _facts(c, version, None, "") == before
    except (LedgerFault, sqlite3.Error):
        return False
    finally:
        engine.dispose()
        for suffix in ("-wal", "-shm"):
            durable.remove(path.with_name(path.name + suffix))
