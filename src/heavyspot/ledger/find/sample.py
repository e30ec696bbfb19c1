"""Some lines of the search, by which it is told how to look: which words are rare, and how far back they stand.

What is found never depends on it, only the way there: where a database's own guess of a word's holders is wrong,
or where they all stand together far back, its plan costs ten times the other one.
"""

from __future__ import annotations

import random
from dataclasses import dataclass

from sqlalchemy import Connection, text

LINES, TOGETHER = 5_000, 12
"""Lines of a sample, and how many are taken together: a page is read at once, but tells of one time only."""

LINE_BYTES, A_PAGE = 150, 50
"""Of a line on PostgreSQL, roughly, and lines of a page: what a table of unknown length is measured by."""

WALKED_US, LOOKED_UP_US, LOOK_US = 0.25, 3.0, 3_000.0
"""Of a line passed by on the way back from the newest, of a holder found by the index, and of looking there at all:
measured on PostgreSQL 15, a million lines."""


@dataclass(frozen=True)
class Sample:
    """Lines taken at random, the newest first.

    Attributes
    ----------
    lines : tuple of str
    per : float
        Lines of the whole that each stands for, at least 1.
    """

    lines: tuple[str, ...]
    per: float

    def holding(self, group: str) -> list[int]:
        """Return the places of the lines that hold a text."""
        return [i for i, line in enumerate(self.lines) if group in line]

    def is_far_back(self, words: list[str], most: int) -> bool:
        """Whether so many of the newest lines that hold all words are sooner looked up than walked to."""
        held = list(range(len(self.lines)))
        for word in words:
            held = [i for i in held if word in self.lines[i]]
        wanted = max(1, round(most / self.per))
        walked = self.per * (held[wanted - 1] if len(held) >= wanted else len(self.lines))
        return LOOK_US + LOOKED_UP_US * self.per * len(held) < WALKED_US * walked


def take_sample(c: Connection) -> Sample:
    """Return a sample of the search's lines."""
    if c.dialect.name == "sqlite":
        return _of_sqlite(c)
    size = c.execute(text("select pg_relation_size('search')")).scalar_one()
    share = min(1.0, LINES * LINE_BYTES / max(int(size), 1))
    pages = min(1.0, share * A_PAGE / TOGETHER)
    query = text(
        f"select piece_id, words from search tablesample system ({100 * pages:.6f}) where random() < :few"
    )
    found = c.execute(query, {"few": share / pages})
    rows = sorted(((str(r.piece_id), str(r.words)) for r in found), reverse=True)
    return Sample(tuple(words for _, words in rows), 1.0 / share)


def _of_sqlite(c: Connection) -> Sample:
    last = int(c.execute(text("select coalesce(max(line), 0) from search_line")).scalar_one())
    blocks = -(-last // TOGETHER)
    some = sorted(random.sample(range(blocks), min(blocks, LINES // TOGETHER)), reverse=True)
    query = text("select words from search where rowid between :a and :b order by rowid desc")
    lines = [
        str(r.words)
        for n in some
        for r in c.execute(query, {"a": n * TOGETHER + 1, "b": (n + 1) * TOGETHER})
    ]
    return Sample(tuple(lines), max(1.0, last / max(len(lines), 1)))
