"""Writing entries: an identifier, a time, all or nothing, on disk when it returns."""

from __future__ import annotations

from collections.abc import Iterable, Iterator
from contextlib import contextmanager
from typing import Any

from sqlalchemy import Connection, Engine, Table, insert, select

from ...quantities.clock import now, utc_text
from ...quantities.errors import Stale
from ...quantities.said import Said
from ..records import Cut, Entry, R, record
from .chain import OF_ONE_STORE, add_links, end_of, link_of, lock_chain
from .identity import new_id
from .once import mark_written, write_key
from .tables import amendments, jobs, piece_index, pieces

Row = dict[str, Any]


def now_utc() -> str:
    """Return the time, UTC, ISO 8601 with milliseconds."""
    return utc_text(now())


def add_entry(c: Connection, table: Table, **values: Any) -> str:
    """Add an entry and its link in the chain; returns its id."""
    return add_entries(c, table, [values])[0]


def add_records(c: Connection, table: Table, records: Iterable[Entry]) -> list[str]:
    """Add entries given as values; returns their ids."""
    return add_entries(c, table, [r.values() for r in records])


def add_entries(c: Connection, table: Table, rows: Iterable[Row]) -> list[str]:
    """Add entries with the same fields, and their links, in order; returns their ids."""
    at = now_utc()
    end = end_of(c)
    entries: list[Row] = []
    for (
        values
    ) in rows:  # the first sorts behind what is there, each other one behind the one before
        made = new_id() if entries else new_id(after=end.entry_ids)
        entries.append({"id": made, "at": at, **values})
    ids = [str(e["id"]) for e in entries]
    if entries:
        c.execute(insert(table), entries)
        add_links(c, table, ids, end)
    return ids


def refuse_stale(now: Row | None, seen: str | None) -> None:
    """Raise `Stale` when somebody changed a thing after it was looked at.

    Parameters
    ----------
    now : dict or None
        Its newest entry.
    seen : str or None
        Identifier of the entry that was looked at, empty for none; None: it does not matter.
    """
    if seen is not None and seen != (now["id"] if now else ""):
        who = (now and now["by"]) or "Somebody else"
        raise Stale(
            Said("refusal.has_changed_this_meanwhile_nothing", {"who": who}),
            remedy=Said("remedy.look_at_it_again_then"),
        )


def newest(c: Connection, table: Table, condition: Any) -> Row | None:
    """Return the newest entry that meets a condition, or None; no clock decides.

    Of what stays in its store by the chain's own number. Of what stores exchange by identifiers, which only go
    up in a store whatever its clock says (`new_id`), so that two stores agree.
    """
    order = link_of(table) if table.name in OF_ONE_STORE else table.c.id
    row = c.execute(select(table).where(condition).order_by(order.desc()).limit(1))
    found = row.mappings().first()
    return dict(found) if found else None


def current_job(c: Connection, job_id: str) -> Row | None:
    """Return a job as it stands, or None."""
    found = newest(c, jobs, jobs.c.id == job_id)
    if found is not None:
        mine = select(amendments.c.content).where(amendments.c.of_id == job_id)
        for amendment in c.execute(mine.order_by(amendments.c.id)):
            found |= amendment.content
    return found


def standing(cuts: Iterable[Cut]) -> list[Cut]:
    """Return the cuts that stand: not amended by a later entry, and really made."""
    rows = list(cuts)
    amended = {r.replaces for r in rows}
    return [r for r in rows if r.id not in amended and not never_made(r)]


def never_made(cut: Cut) -> bool:
    """Whether an entry takes a cut back; before schema 0011 one of 0 g·mm said so."""
    return cut.unbalance_gmm == 0 if cut.never_made is None else cut.never_made


class Entries:
    """Some of a ledger's tables."""

    def __init__(self, engine: Engine) -> None:
        self._engine = engine

    def _rows(self, query: Any) -> list[Row]:
        with self._engine.connect() as c:
            return [dict(r) for r in c.execute(query).mappings()]

    def _all(self, kind: type[R], query: Any) -> list[R]:
        """Return what a query finds, as values of a kind."""
        with self._engine.connect() as c:
            return [record(kind, r) for r in c.execute(query).mappings()]

    def _newest(self, kind: type[R], table: Table, condition: Any) -> R | None:
        """Return the newest entry that meets a condition, as a value of a kind, or None."""
        with self._engine.connect() as c:
            row = newest(c, table, condition)
        return record(kind, row) if row else None

    def _count(self, query: Any) -> int:
        with self._engine.connect() as c:
            return int(c.execute(query).scalar_one())


def pieces_as_they_stand() -> Any:
    """Return the query of pieces as they stand: the index, and when and by whom each was written."""
    index = [c for c in piece_index.c if c.name != "piece_id"]
    of = pieces.c.id == piece_index.c.piece_id
    return select(piece_index.c.piece_id.label("id"), pieces.c.at, pieces.c.by, *index).join_from(
        piece_index, pieces, of
    )


@contextmanager
def transaction(engine: Engine) -> Iterator[Connection]:
    """Give a write that is all or nothing, and on disk when it returns; other writers wait until it ends.

    Raises
    ------
    LedgerAway
        The disk or the database refuses; nothing was changed.
    DoneBefore
        It is asked under a key (`asked_once`) under which it was done before.
    """
    with engine.begin() as c:
        lock_chain(c)
        write_key(c, now())
        yield c
    mark_written()
