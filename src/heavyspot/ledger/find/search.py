"""One box that finds a piece by anything written of it, typing errors included.

A projection, like the piece index: one line of text a piece (serial, customer, invoice, model, position,
notes, operators), made anew whenever one of these changes. On SQLite it lies in an FTS5 table of three-letter
groups (trigrams), so that any part of a word is found; when nothing holds all the words, pieces are ranked by
likeness (`alike`). On PostgreSQL a plain table with an index of pg_trgm stands in, or without it a slower LIKE.
"""

from __future__ import annotations

import time
import unicodedata
from collections.abc import Iterable
from dataclasses import dataclass
from typing import Any

from sqlalchemy import Connection, Engine, bindparam, func, select, text
from sqlalchemy.exc import DBAPIError

from ...quantities.errors import LedgerAway
from ..records import Piece, record
from ..store.entries import Entries, pieces_as_they_stand
from ..store.tables import amendments, events, jobs, old_rows, piece_index, rotor_runs, runs
from .alike import likest
from .holding import escaped, holds, newest_holding
from .sample import Sample, take_sample

SAMPLE_KEPT_S = 600.0
"""How long a sample of the lines stands for them; those written since are none the less found."""

FILTERS = ("model", "verdict", "customer", "invoice", "from", "to")
"""Words that narrow the search, written ``model:larch``."""


@dataclass(frozen=True)
class Found:
    """Pieces found.

    Attributes
    ----------
    rows : list of Piece
        As in the day book, newest first, or the likest first.
    exact : bool
        False when nothing held all the words and these are only alike.
    """

    rows: list[Piece]
    exact: bool


_STROKES = str.maketrans({"ø": "o", "ł": "l", "đ": "d", "æ": "ae", "œ": "oe", "ı": "i"})
"""Letters that have no accent to take off."""


def plain(words: str) -> str:
    """Return text as it is compared: small letters, no accents, one space."""
    printable = "".join(c if unicodedata.category(c)[0] != "C" else " " for c in words)
    apart = unicodedata.normalize("NFKD", printable.casefold().translate(_STROKES))
    return " ".join("".join(c for c in apart if not unicodedata.combining(c)).split())


def make_tables(c: Connection) -> None:
    """Make the search tables; called by the schema's upgrade."""
    if c.dialect.name == "sqlite":
        c.execute(
            text(
                "create virtual table search using fts5(words, piece_id unindexed, tokenize='trigram')"
            )
        )
        c.execute(text("create virtual table search_groups using fts5vocab('search', 'row')"))
        c.execute(
            text("create table search_line (piece_id text primary key, line integer not null)")
        )
    else:
        c.execute(
            text("create table search (piece_id varchar(36) primary key, words text not null)")
        )
        try:
            with c.begin_nested():  # PostgreSQL's own groups of three, where they are installed
                c.execute(text("create extension if not exists pg_trgm"))
                c.execute(
                    text("create index ix_search_words on search using gin (words gin_trgm_ops)")
                )
        except (DBAPIError, LedgerAway):
            return  # then a search reads the whole table


def index_pieces(c: Connection, piece_ids: Iterable[str]) -> None:
    """Make the lines of pieces anew; the caller's transaction holds the change that asks for it."""
    ids = list(dict.fromkeys(piece_ids))
    for at in range(0, len(ids), 500):
        words = words_of(c, ids[at : at + 500])
        if c.dialect.name == "sqlite":
            _put_lines(c, words)
            continue
        lines = [{"p": p, "w": w} for p, w in words.items()]
        c.execute(text("delete from search where piece_id = :p"), lines)
        c.execute(text("insert into search (piece_id, words) values (:p, :w)"), lines)


def _put_lines(c: Connection, words: dict[str, str]) -> None:
    """Write lines on SQLite: a piece keeps its line, a new one gets the next."""
    held = text("select piece_id, line from search_line where piece_id in :ids")
    ids: Any = bindparam("ids", expanding=True)
    line_of = {r.piece_id: r.line for r in c.execute(held.bindparams(ids), {"ids": list(words)})}
    if line_of:
        old = [{"l": n} for n in line_of.values()]
        c.execute(text("delete from search where rowid = :l"), old)
    new = [p for p in words if p not in line_of]
    last = c.execute(text("select coalesce(max(line), 0) from search_line")).scalar_one()
    numbered = dict(zip(new, range(last + 1, last + 1 + len(new)), strict=True))
    if new:
        fresh = [{"p": p, "l": n} for p, n in numbered.items()]
        c.execute(text("insert into search_line values (:p, :l)"), fresh)
    put = text("insert into search (rowid, words, piece_id) values (:l, :w, :p)")
    line_of |= numbered
    c.execute(put, [{"l": line_of[p], "w": w, "p": p} for p, w in words.items()])


HAPPENED = ("text", "why", "gauge", "file", "parts")
OLD = ("customer", "invoice", "note", "operator", "supplier", "rig", "position")
"""What is found of a happening, and of a row of the old book."""


def words_of(c: Connection, piece_ids: list[str]) -> dict[str, str]:
    """Return what is written of each piece, as it is compared."""
    parts: dict[str, list[str]] = {}
    jobs_of: dict[str, list[str]] = {}
    shown = select(piece_index).where(piece_index.c.piece_id.in_(piece_ids))
    for row in c.execute(shown):
        parts[row.piece_id] = [row.serial, row.customer, row.invoice, row.model, row.position]
        jobs_of.setdefault(row.job_id, []).append(row.piece_id)
    for job_id, note in _notes_of(c, list(jobs_of)).items():
        for p in jobs_of[job_id]:
            parts[p].append(note)
    for table in (runs, rotor_runs):
        by = select(table.c.piece_id, table.c.by).where(table.c.piece_id.in_(piece_ids)).distinct()
        for r in c.execute(by):
            parts[r.piece_id].append(r.by)
    for table, keys in ((events, HAPPENED), (old_rows, OLD)):
        told = select(table.c.piece_id, table.c.content).where(table.c.piece_id.in_(piece_ids))
        for r in c.execute(told.order_by(table.c.id)):
            parts[r.piece_id] += [_said(r.content.get(k, "")) for k in keys]
    return {p: plain(" ".join(dict.fromkeys(w for w in said if w))) for p, said in parts.items()}


def _said(value: Any) -> str:
    """Return a text, or the texts in a list of records."""
    if isinstance(value, list):
        return " ".join(str(v) for record in value for v in record.values())
    return str(value)


def _notes_of(c: Connection, job_ids: list[str]) -> dict[str, str]:
    """Return the notes of jobs as they stand."""
    written = select(jobs.c.id, jobs.c.note).where(jobs.c.id.in_(job_ids))
    notes = {r.id: r.note for r in c.execute(written)}
    changed = select(amendments).where(amendments.c.of_id.in_(job_ids)).order_by(amendments.c.id)
    for a in c.execute(changed):
        notes[a.of_id] = a.content.get("note", notes[a.of_id])
    return notes


class Search(Entries):
    """The box."""

    def __init__(self, engine: Engine) -> None:
        super().__init__(engine)
        self._sample: Sample | None = None
        self._sample_until = 0.0

    def find(self, typed: str, *, most: int = 50) -> Found:
        """Return pieces that hold every word typed, or the likest ones when none does.

        Parameters
        ----------
        typed : str
            Words in any order, each a part of any word of the piece; and filters such as
            ``verdict:fail``, ``model:larch``, ``from:2026-01-01``.
        """
        words, filters = _apart(typed)
        with self._engine.connect() as c:
            rows = self._holding(c, words, filters, most)
            if rows or not words:
                return Found(rows, True)
            return Found(self._alike(c, words, filters, most), False)

    def _holding(
        self, c: Connection, words: list[str], filters: dict[str, str], most: int
    ) -> list[Piece]:
        query = _narrowed(pieces_as_they_stand(), filters)
        query = query.order_by(piece_index.c.piece_id.desc()).limit(most)
        if not words:
            return _records(c, query)
        # newest first without sorting them all, and deeper where the filters will leave few of them
        deep = most if not filters else 20 * most
        held = [p for p, _ in newest_holding(c, words, deep, self._sampled(c))]
        found = _records(c, query.where(piece_index.c.piece_id.in_(held)))
        more = len(held) == deep and bool(filters)  # holders than were looked at
        if more and len(found) < most:
            return _records(c, query.where(holds(c, words)))
        return found

    def _alike(
        self, c: Connection, words: list[str], filters: dict[str, str], most: int
    ) -> list[Piece]:
        best = likest(c, words, most, self._sampled(c))
        rows = {
            str(r["id"]): record(Piece, r)
            for r in c.execute(
                _narrowed(pieces_as_they_stand(), filters).where(piece_index.c.piece_id.in_(best))
            ).mappings()
        }
        return [rows[p] for p in best if p in rows]

    def _sampled(self, c: Connection) -> Sample:
        """Return a sample of the lines, kept a while."""
        if self._sample is None or time.monotonic() > self._sample_until:
            self._sample = take_sample(c)
            self._sample_until = time.monotonic() + SAMPLE_KEPT_S
        return self._sample


def _records(c: Connection, query: Any) -> list[Piece]:
    return [record(Piece, r) for r in c.execute(query).mappings()]


def _apart(typed: str) -> tuple[list[str], dict[str, str]]:
    words, filters = [], {}
    for word in typed[:300].split():
        key, colon, value = word.partition(":")
        if colon and value and key.casefold() in FILTERS:
            filters[key.casefold()] = plain(value)
        else:
            words += plain(word).split()
    return words[:12], filters


def _narrowed(query: Any, filters: dict[str, str]) -> Any:
    for key, value in filters.items():
        if key == "verdict":
            query = query.where(piece_index.c.verdict == value)
        elif key == "from":
            query = query.where(piece_index.c.day >= value)
        elif key == "to":
            query = query.where(piece_index.c.day <= value + "~")
        else:
            column = piece_index.c[key]
            query = query.where(func.lower(column).like(f"%{escaped(value)}%", escape="\\"))
    return query
