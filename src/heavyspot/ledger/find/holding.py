"""The newest pieces whose lines hold all words, each a part of any word: identifiers and lines sort by time."""

from __future__ import annotations

import re

from sqlalchemy import Connection, TextClause, text

from .sample import Sample

WINDOW = 2_000
"""Lines walked back at first on PostgreSQL; then five times as many."""


def newest_holding(
    c: Connection, words: list[str], most: int, sample: Sample
) -> list[tuple[str, str]]:
    """Return the newest pieces whose lines hold all words, with these lines, at most so many."""
    held = _on_sqlite if c.dialect.name == "sqlite" else _on_postgres
    return held(c, words, most, sample)


def holds(c: Connection, words: list[str]) -> TextClause:
    """Return the condition, for a query on the index of pieces, that a piece's line holds all words."""
    held, values = _held("s.words", words)
    line = "search s where s.piece_id = piece_index.piece_id"
    if c.dialect.name == "sqlite":  # by its line: the piece's name is no key of that table
        line = "search_line l join search s on s.rowid = l.line where l.piece_id = piece_index.piece_id"
    return text(f"exists (select 1 from {line} and {held})").bindparams(**values)


def _on_sqlite(c: Connection, words: list[str], most: int, sample: Sample) -> list[tuple[str, str]]:
    long = [w for w in words if len(w) >= 3]
    held, values = _held("words", [w for w in words if len(w) < 3])
    conditions = [held] if held else []
    if long:
        conditions.append("search match :m")
        values |= {"m": " AND ".join('"' + w.replace('"', '""') + '"' for w in long)}
    lines = text(
        f"select piece_id, words from search where {' and '.join(conditions)} "
        "order by rowid desc limit :n"
    )
    return [(r.piece_id, r.words) for r in c.execute(lines, values | {"n": most})]


def _on_postgres(
    c: Connection, words: list[str], most: int, sample: Sample
) -> list[tuple[str, str]]:
    """Walk back from the newest line, or look all holders up and take the newest: whichever is the sooner."""
    if any(_has_a_group(w) for w in words) and sample.is_far_back(words, most):
        return _looked_up(c, words, most)
    found: list[tuple[str, str]] = []
    below, window = "~", WINDOW  # sorts behind every identifier
    while len(found) < most and below:
        start = c.execute(
            text(
                "select piece_id from search where piece_id < :below order by piece_id desc "
                "offset :window limit 1"
            ),
            {"below": below, "window": window},
        ).scalar()
        found += _between(c, words, most - len(found), str(start or ""), below)
        below, window = str(start or ""), 5 * window
    return found


def _looked_up(c: Connection, words: list[str], most: int) -> list[tuple[str, str]]:
    """Return the newest holders of all that there are: a plan of its own, whatever the database guesses."""
    held, values = _held("words", words)
    lines = text(
        f"with held as materialized (select piece_id, words from search where {held}) "
        "select piece_id, words from held order by piece_id desc limit :n"
    )
    return [(r.piece_id, r.words) for r in c.execute(lines, values | {"n": most})]


def _between(
    c: Connection, words: list[str], most: int, start: str, below: str
) -> list[tuple[str, str]]:
    """Return the newest holders from one line up to another."""
    held, values = _held("words || ''", words)  # the index knows the column, not what is made of it
    lines = text(
        "select piece_id, words from search where piece_id >= :start and piece_id < :below "
        f"and {held} order by piece_id desc limit :n"
    )
    ends = {"start": start, "below": below}
    return [(r.piece_id, r.words) for r in c.execute(lines, values | ends | {"n": most})]


def _held(column: str, words: list[str]) -> tuple[str, dict[str, str | int]]:
    condition = " and ".join(f"{column} like :w{i} escape '\\'" for i in range(len(words)))
    return condition, {f"w{i}": f"%{escaped(w)}%" for i, w in enumerate(words)}


def _has_a_group(word: str) -> bool:
    """Whether three letters or figures stand together in a word: without them the index is of no use."""
    return re.search(r"[^\W_]{3}", word) is not None


def escaped(word: str) -> str:
    """Return a word as LIKE takes it literally, with a backslash as its escape."""
    return word.replace("\\", "\\\\").replace("%", "\\%").replace("_", "\\_")
