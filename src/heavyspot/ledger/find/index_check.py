"""The index of pieces against the entries it is made of: compared, and made anew where it says something else."""

from __future__ import annotations

from collections.abc import Callable, Iterator
from dataclasses import asdict

from sqlalchemy import Connection, Engine, func, select, text, update
from sqlalchemy.exc import DatabaseError

from ..records import Piece
from ..store.chain import Broken
from ..store.entries import transaction
from ..store.tables import amendments, piece_index, pieces
from ..trail import Trail
from .projection import as_it_stands, newest_index, project
from .search import index_pieces, words_of

BATCH = 500


def index_faults(
    engine: Engine,
    progress: Callable[[int, int], None] | None = None,
    trail: Trail | None = None,
) -> Iterator[Broken]:
    """Yield every line of the index that is not what the entries say, and damage of the database's own pages.

    Lines of pieces behind a trail's mark are not compared again.
    """
    trail = trail or Trail()
    with engine.connect() as c:
        yield from _damaged_pages(c)
        total = int(c.execute(select(func.count()).select_from(pieces)).scalar_one())
        behind = trail.skip(i for _, ids in _batches(c) for i in ids)
        for done, every in _batches(c):
            ids = every[max(0, behind - (done - len(every))) :]
            shown = [i for i in ids if newest_index(c, i) is not None]
            said, words = _words_said(c, shown), words_of(c, shown)
            for piece_id in ids:
                fields = _differs(c, piece_id)
                if not fields and piece_id in words:
                    fields = [] if said.get(piece_id) == words.get(piece_id) else ["words"]
                if fields:
                    trail.failed()
                    yield Broken("index", f"piece_index ({', '.join(fields)})", piece_id, 0)
                else:
                    trail.passed(piece_id)
            if progress:
                progress(done, total)
        known = select(pieces.c.id)
        for r in c.execute(
            select(piece_index.c.piece_id).where(piece_index.c.piece_id.not_in(known))
        ):
            yield Broken("index", "piece_index", str(r.piece_id), 0)


def index_differs(engine: Engine, piece_id: str) -> list[str]:
    """Return the fields of a piece's line in the index that are not what its entries say."""
    with engine.connect() as c:
        return _differs(c, piece_id)


def rebuild_index(engine: Engine, progress: Callable[[int, int], None] | None = None) -> int:
    """Make every line that is wrong anew from the entries, and all words that are searched; returns how many lines.

    All or nothing; no entry changes.
    """
    with transaction(engine) as c:
        known = select(pieces.c.id)
        c.execute(piece_index.delete().where(piece_index.c.piece_id.not_in(known)))
        total = int(c.execute(select(func.count()).select_from(pieces)).scalar_one())
        wrong = [i for _, ids in _batches(c) for i in ids if _differs(c, i)]
        line = piece_index.c.piece_id
        for piece_id in wrong:  # two may have changed places: first none of them holds a serial
            c.execute(update(piece_index).where(line == piece_id).values(serial=piece_id))
        for piece_id in project(c, wrong):
            _old_serial(c, piece_id)
        if c.dialect.name == "sqlite":
            c.execute(text("insert into search(search) values ('rebuild')"))
        for done, ids in _batches(c):
            shown = select(line).where(line.in_(ids))
            index_pieces(c, [r.piece_id for r in c.execute(shown).all()])
            if progress:
                progress(done, total)
    return len(wrong)


def _batches(c: Connection) -> Iterator[tuple[int, list[str]]]:
    last, done = "", 0
    while ids := [
        str(r.id)
        for r in c.execute(
            select(pieces.c.id).where(pieces.c.id > last).order_by(pieces.c.id).limit(BATCH)
        )
    ]:
        last, done = ids[-1], done + len(ids)
        yield done, ids


def _differs(c: Connection, piece_id: str) -> list[str]:
    now, there = as_it_stands(c, piece_id), newest_index(c, piece_id)
    holder = c.execute(select(piece_index.c.piece_id).where(piece_index.c.serial == now.serial))
    taken = holder.scalar() not in (None, piece_id)
    if there is None:
        return [] if taken else ["missing"]
    line = {k: v for k, v in asdict(now).items() if k in piece_index.c and k != "piece_id"}
    fields = [k for k, v in line.items() if getattr(there, k) != v]
    if taken and there.serial in _serials(c, now, piece_id):
        fields = [
            f for f in fields if f != "serial"
        ]  # another has it: it keeps its old one until a person decides
    return fields


def _serials(c: Connection, now: Piece, piece_id: str) -> list[str]:
    """Return the serials a piece has had, newest first."""
    made = c.execute(select(pieces.c.serial).where(pieces.c.id == piece_id)).scalar_one()
    changed = select(amendments.c.content).where(amendments.c.of_id == piece_id)
    rows = c.execute(changed.order_by(amendments.c.id))
    had = [made, *(str(r.content["serial"]) for r in rows if "serial" in r.content)]
    return had[::-1]


def _old_serial(c: Connection, piece_id: str) -> None:
    """Give a piece whose serial another has the last one of its own that is free, or no line."""
    line = piece_index.c.piece_id == piece_id
    for serial in _serials(c, as_it_stands(c, piece_id), piece_id):
        held = select(piece_index.c.piece_id).where(piece_index.c.serial == serial)
        if c.execute(held).first() is None:
            c.execute(update(piece_index).where(line).values(serial=serial))
            return
    c.execute(piece_index.delete().where(line))


def _words_said(c: Connection, ids: list[str]) -> dict[str, str]:
    query = "select piece_id, words from search where piece_id = :p"
    if c.dialect.name == "sqlite":  # by its line: the piece's name is no key of that table
        query = (
            "select l.piece_id, s.words from search_line l join search s on s.rowid = l.line "
            "where l.piece_id = :p"
        )
    found = {}
    for piece_id in ids:
        row = c.execute(text(query), {"p": piece_id}).first()
        if row is not None:
            found[str(row.piece_id)] = str(row.words)
    return found


def _damaged_pages(c: Connection) -> Iterator[Broken]:
    """Yield what SQLite itself finds wrong with its pages and indexes; another database has its own means."""
    if c.dialect.name != "sqlite":
        return
    try:
        found = [str(r[0]) for r in c.execute(text("pragma integrity_check(20)"))]
    except DatabaseError as fault:
        found = [str(fault.orig)]
    for line in found:
        if line != "ok":
            yield Broken("database", line, "", 0)
