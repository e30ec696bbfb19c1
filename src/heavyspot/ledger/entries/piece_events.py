"""What lies in a piece's folder: its sheets, and what happened to it beside runs and cuts."""

from __future__ import annotations

from sqlalchemy import func, select
from sqlalchemy.exc import IntegrityError

from ..find.search import index_pieces
from ..store.entries import Entries, Row, add_entry, newest, transaction
from ..store.tables import happenings, rotor_runs, runs, sheets


class Papers(Entries):
    """Sheets issued; build records, signatures, returns, claims and notes."""

    def add_sheet(self, entry: Row) -> str:
        """Add a sheet; returns its id, or nothing when its number was taken a moment ago."""
        try:
            with transaction(self._engine) as c:
                return add_entry(c, sheets, **entry)
        except IntegrityError:
            return ""

    def sheet(self, number: str) -> Row | None:
        """Return an issued sheet by its number, or None."""
        with self._engine.connect() as c:
            return newest(c, sheets, sheets.c.number == number)

    def newest_sheet(self, piece_id: str, *, flow: bool = False) -> Row | None:
        """Return a piece's newest sheet of runs, or of flow tests (whose numbers are kept negative), or None."""
        kind = sheets.c.run_number < 0 if flow else sheets.c.run_number >= 0
        with self._engine.connect() as c:
            return newest(c, sheets, (sheets.c.piece_id == piece_id) & kind)

    def sheets_of(self, piece_id: str) -> list[Row]:
        """Return a piece's sheets in order."""
        return self._rows(select(sheets).where(sheets.c.piece_id == piece_id).order_by(sheets.c.id))

    def sheet_count(self, series: str) -> int:
        """Return how many sheets carry a number of a series: its beginning, then digits."""
        numbers = (
            select(func.count())
            .select_from(sheets)
            .where(
                sheets.c.number.like(f"{series}%"), func.length(sheets.c.number) == len(series) + 5
            )
        )
        with self._engine.connect() as c:
            return int(c.execute(numbers).scalar_one())

    def add_happening(self, piece_id: str, kind: str, content: Row, *, by: str) -> str:
        """Add what happened to a piece; returns its id."""
        with transaction(self._engine) as c:
            made = add_entry(c, happenings, piece_id=piece_id, kind=kind, content=content, by=by)
            index_pieces(c, [piece_id])
            return made

    def happenings(self, piece_id: str) -> list[Row]:
        """Return what happened to a piece, in order."""
        mine = select(happenings).where(happenings.c.piece_id == piece_id)
        return self._rows(mine.order_by(happenings.c.id))

    def files(self) -> list[tuple[str, str, str]]:
        """Return entry, name and digest of every file the ledger names: recordings, photos, documents."""
        found = []
        with self._engine.connect() as c:
            for t in (runs, rotor_runs):
                named = select(t.c.id, t.c.recording, t.c.recording_sha256)
                found += [tuple(r) for r in c.execute(named.where(t.c.recording != ""))]
            told = select(happenings.c.id, happenings.c.content)
            for r in c.execute(told.where(happenings.c.kind == "attached")):
                found.append((r.id, r.content["kept_as"], r.content["sha256"]))
        return found
