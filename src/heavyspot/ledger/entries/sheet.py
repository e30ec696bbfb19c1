"""Sheets issued."""

from __future__ import annotations

from sqlalchemy import func, select
from sqlalchemy.exc import IntegrityError

from ..records import Sheet
from ..store.chain import link_of
from ..store.entries import Entries, Row, add_records, transaction
from ..store.tables import sheets


class Sheets(Entries):
    """Sheets in the ledger."""

    def add(self, sheet: Sheet) -> str:
        """Add a sheet; returns its id, or nothing when its number was taken a moment ago."""
        try:
            with transaction(self._engine) as c:
                return add_records(c, sheets, [sheet])[0]
        except IntegrityError:
            return ""

    def find(self, number: str) -> Sheet | None:
        """Return an issued sheet by its number, or None."""
        found = self._rows(select(sheets).where(sheets.c.number == number))
        return _sheet(found[-1]) if found else None

    def newest(self, piece_id: str, kind: str) -> Sheet | None:
        """Return a piece's newest sheet of a kind, or None."""
        return next((s for s in reversed(self.of_piece(piece_id)) if s.kind == kind), None)

    def of_piece(self, piece_id: str) -> list[Sheet]:
        """Return a piece's sheets in order."""
        mine = select(sheets).where(sheets.c.piece_id == piece_id).order_by(link_of(sheets))
        return [_sheet(r) for r in self._rows(mine)]

    def next_number(self, series: str) -> str:
        """Return the number after the highest of a series: its beginning, then five digits."""
        mine = select(func.max(sheets.c.number)).where(
            sheets.c.number.like(f"{series}%"), func.length(sheets.c.number) == len(series) + 5
        )
        with self._engine.connect() as c:
            last = str(c.execute(mine).scalar() or "")
        return f"{series}{int(last[len(series) :] or 0) + 1:05d}"


def _sheet(row: Row) -> Sheet:
    """Return a sheet; before schema 0011 a flow test's number was kept negative and no kind stood there."""
    number = int(row["run_number"])
    kind = row.pop("kind") or ("flow" if number < 0 else "run")
    return Sheet(**row | {"kind": kind, "run_number": abs(number)})
