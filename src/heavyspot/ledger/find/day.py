"""Which pieces something happened to within a time."""

from __future__ import annotations

from sqlalchemy import Engine, select, union

from ..store.tables import (
    answers,
    cuts,
    events,
    flow_tests,
    overrulings,
    pieces,
    rotor_corrections,
    rotor_runs,
    runs,
    sheets,
)

HAPPEN = (
    answers, cuts, events, flow_tests, overrulings, rotor_corrections, rotor_runs, runs, sheets,
)  # fmt: skip
"""Tables whose entries belong to a piece."""


class Days:
    """Reads only."""

    def __init__(self, engine: Engine) -> None:
        self._engine = engine

    def pieces_between(self, since: str, until: str) -> list[str]:
        """Return the ids of pieces that have an entry from a time on, before another, both UTC."""
        parts = [select(t.c.piece_id).where(t.c.at >= since, t.c.at < until) for t in HAPPEN]
        parts.append(select(pieces.c.id).where(pieces.c.at >= since, pieces.c.at < until))
        with self._engine.connect() as c:
            return [str(r[0]) for r in c.execute(union(*parts)) if r[0]]
