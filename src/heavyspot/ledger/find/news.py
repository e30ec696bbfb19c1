"""What was written behind a link: verdicts, and what an inspector let stand."""

from __future__ import annotations

from dataclasses import dataclass

from sqlalchemy import select, union_all

from ..store.entries import Entries
from ..store.tables import chain, flow_tests, overrulings, rotor_runs, runs
from .pages import Mark, refuse_foreign

TOLD = (runs, rotor_runs, flow_tests, overrulings)


@dataclass(frozen=True)
class New:
    """An entry with a verdict, and whose it is."""

    mark: Mark
    table: str
    entry_id: str
    piece_id: str


class News(Entries):
    """Reads only."""

    def since(self, mark: Mark, most: int = 100) -> list[New]:
        """Return entries with a verdict behind a mark, oldest first; raises `Stale` as `Pages` does."""
        parts = [
            select(chain.c.number, chain.c.digest, chain.c.of_table, chain.c.entry_id, t.c.piece_id)
            .join(t, t.c.id == chain.c.entry_id)
            .where(chain.c.of_table == t.name, chain.c.number > mark.number)
            for t in TOLD
        ]
        found = union_all(*parts).subquery()
        with self._engine.connect() as c:
            if mark.number:
                refuse_foreign(c, mark)
            rows = c.execute(select(found).order_by(found.c.number).limit(most)).all()
        return [New(Mark(int(r[0]), r[1]), r[2], r[3], r[4]) for r in rows]
