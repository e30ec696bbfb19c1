"""Recordings that may go by the shop's rule, and those that went."""

from __future__ import annotations

from sqlalchemy import func, select

from ..records import OldRecording, Retired
from ..store.entries import Entries, add_entry, transaction
from ..store.tables import events, piece_index, retired, rotor_runs, runs

KEEPS = ("returned", "claim")
"""What keeps all recordings of a piece for good."""


class Retention(Entries):
    """Removing raw recordings; curves, verdicts and all else stay for ever."""

    def old(self, before: str, *, keep_last: bool) -> list[OldRecording]:
        """Return the recordings that may go, oldest first.

        Parameters
        ----------
        before : str
            ISO 8601 time; recordings made earlier may go.
        keep_last : bool
            Keep the last run of each piece: the state in which it left.
        """
        disputed = select(events.c.piece_id).where(events.c.kind.in_(KEEPS))
        gone = select(retired.c.recording)
        found: list[OldRecording] = []
        for t in (runs, rotor_runs):
            query = select(t.c.id.label("run_id"), t.c.recording, t.c.at).where(
                t.c.recording != "",
                t.c.at < before,
                t.c.piece_id.not_in(disputed),
                t.c.recording.not_in(gone),
            )
            if keep_last:
                last = select(piece_index.c.number).where(piece_index.c.piece_id == t.c.piece_id)
                query = query.where(t.c.number < func.coalesce(last.scalar_subquery(), 0))
            found += self._all(OldRecording, query)
        return sorted(found, key=lambda r: r.at)

    def retire(self, run_id: str, recording: str, *, by: str, why: str) -> None:
        """Write down that a recording goes, before it does."""
        with transaction(self._engine) as c:
            add_entry(c, retired, recording=recording, run_id=run_id, by=by, why=why)

    def gone(self, recording: str) -> Retired | None:
        """Return who retired a recording, when and why, or None."""
        rows = self._all(Retired, select(retired).where(retired.c.recording == recording))
        return rows[0] if rows else None

    def all_gone(self) -> set[str]:
        """Return the names of all recordings that were retired."""
        with self._engine.connect() as c:
            return {r.recording for r in c.execute(select(retired.c.recording))}
