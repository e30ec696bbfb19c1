"""What happened to a piece beside runs and cuts, and the files the ledger names."""

from __future__ import annotations

from sqlalchemy import select

from ..find.search import index_pieces
from ..records import Content, PieceEvent
from ..store.archive import beside_of
from ..store.chain import link_of
from ..store.entries import Entries, add_entry, transaction
from ..store.tables import events, rotor_runs, runs, sheets


class Events(Entries):
    """Build records, signatures, returns, claims, notes, parts, photos and documents."""

    def add(self, piece_id: str, kind: str, content: Content, *, by: str) -> str:
        """Add what happened to a piece; returns its id."""
        with transaction(self._engine) as c:
            made = add_entry(c, events, piece_id=piece_id, kind=kind, content=content, by=by)
            index_pieces(c, [piece_id])
            return made

    def of_piece(self, piece_id: str) -> list[PieceEvent]:
        """Return what happened to a piece, in order."""
        mine = select(events).where(events.c.piece_id == piece_id)
        return self._all(PieceEvent, mine.order_by(link_of(events)))

    def newest(self, kind: str, *, since: str) -> list[PieceEvent]:
        """Return what happened of a kind since a time, UTC, newest first."""
        query = select(events).where((events.c.kind == kind) & (events.c.at >= since))
        return self._all(PieceEvent, query.order_by(events.c.id.desc()))

    def files(self) -> list[tuple[str, str, str]]:
        """Return entry, name and digest of every file the ledger names: recordings, sheets, photos, documents."""
        found: list[tuple[str, str, str]] = []
        with self._engine.connect() as c:
            for t in (runs, rotor_runs):
                named = select(t.c.id, t.c.recording, t.c.recording_sha256)
                rows = c.execute(named.where(t.c.recording != ""))
                found += [(r.id, r.recording, r.recording_sha256) for r in rows]
            issued = select(sheets.c.id, sheets.c.kept_as, sheets.c.sha256)
            rows = c.execute(issued.where(sheets.c.kept_as.is_not(None)))
            found += [(r.id, r.kept_as, r.sha256) for r in rows]
            told = select(events.c.id, events.c.content).where(events.c.kind == "attached")
            for r in c.execute(told):
                found.append((r.id, r.content["kept_as"], r.content["sha256"]))
        return found

    def digests(self, recording: str) -> tuple[str, str | None] | None:
        """Return the digests of a recording and of what stands beside it; None for one no run names."""
        with self._engine.connect() as c:
            for t in (runs, rotor_runs):
                named = select(t.c.recording_sha256, t.c.beside_sha256)
                row = c.execute(named.where(t.c.recording == recording).limit(1)).first()
                if row is not None:
                    return str(row.recording_sha256), row.beside_sha256
        return None

    def beside(self) -> list[tuple[str, str, str]]:
        """Return entry, name and digest of every file that says what a recording's channels are."""
        found: list[tuple[str, str, str]] = []
        with self._engine.connect() as c:
            for t in (runs, rotor_runs):
                named = select(t.c.id, t.c.recording, t.c.beside_sha256)
                rows = c.execute(named.where(t.c.beside_sha256.is_not(None)))
                found += [(r.id, beside_of(r.recording), r.beside_sha256) for r in rows]
        return found
