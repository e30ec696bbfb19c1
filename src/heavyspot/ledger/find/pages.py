"""Pieces and jobs page by page, in the order of their links: whole while others write.

An identifier made in another building, or under a clock set back, may sort before what was given already; a link
does not. A mark carries its link's digest, so that one from before a backup was restored is noticed.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any, Generic, TypeVar

from sqlalchemy import Connection, select

from ...quantities.errors import Stale
from ..records import Amendment, Job, Piece, record
from ..store.entries import Entries, pieces_as_they_stand
from ..store.tables import amendments, chain, jobs, piece_index, pieces

T = TypeVar("T")


@dataclass(frozen=True)
class Mark:
    """A place in a list: behind the entry of a link."""

    number: int
    digest: str


@dataclass(frozen=True)
class Page(Generic[T]):
    """Some entries, the place behind the last of them, and whether there are more now."""

    items: list[T]
    mark: Mark | None
    more: bool


class Pages(Entries):
    """Reads only."""

    def pieces(self, mark: Mark | None, *, newest: bool, limit: int) -> Page[Piece]:
        """Return pieces as they stand behind a mark; raises `Stale` where the mark is not of this ledger."""
        query = pieces_as_they_stand().join(chain, chain.c.entry_id == piece_index.c.piece_id)
        return self._page(Piece, query, pieces.name, mark, newest, limit)

    def jobs(self, mark: Mark | None, *, newest: bool, limit: int) -> Page[Job]:
        """Return jobs as they stand behind a mark; raises as `pieces` does."""
        query = select(jobs).join(chain, chain.c.entry_id == jobs.c.id)
        return self._page(Job, query, jobs.name, mark, newest, limit)

    def _page(
        self, kind: type[T], query: Any, table: str, mark: Mark | None, newest: bool, limit: int
    ) -> Page[T]:
        number = chain.c.number
        query = query.add_columns(number.label("link"), chain.c.digest.label("link_digest"))
        query = query.where(chain.c.of_table == table)
        query = query.order_by(number.desc() if newest else number).limit(limit + 1)
        with self._engine.connect() as c:
            if mark is not None:
                refuse_foreign(c, mark)
                query = query.where(number < mark.number if newest else number > mark.number)
            rows = c.execute(query).all()
            shown = {r.id: dict(r._mapping) for r in rows[:limit]}
            if kind is Job:
                _amend(c, shown)
        if shown:
            last = rows[len(shown) - 1]
            mark = Mark(int(last.link), str(last.link_digest))
        return Page([record(kind, r) for r in shown.values()], mark, len(rows) > limit)


def _amend(c: Connection, shown: dict[str, dict[str, Any]]) -> None:
    query = select(amendments).where(amendments.c.of_id.in_(shown)).order_by(amendments.c.id)
    for r in c.execute(query).mappings():
        amendment = record(Amendment, r)
        shown[amendment.of_id] |= amendment.content


def refuse_foreign(c: Connection, mark: Mark) -> None:
    """Raise `Stale` where a mark is not of this ledger."""
    digest = c.execute(select(chain.c.digest).where(chain.c.number == mark.number)).scalar()
    if digest != mark.digest:
        raise Stale(
            "This cursor is of another ledger, or of one that went on from a backup since.",
            remedy="Begin the list anew, without a cursor.",
        )
