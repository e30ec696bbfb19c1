"""Which stations the main house knows, and what of theirs is a file."""

from __future__ import annotations

from sqlalchemy import select

from ..records import Content, Station
from ..store.chain import link_of
from ..store.entries import Entries, add_entry, newest, transaction
from ..store.tables import arrivals, events, held, rotor_runs, runs, sheets, stations


class Stations(Entries):
    """The stations of a main house."""

    def add(self, name: str, key_digest: str, *, by: str) -> None:
        """Add a station or a new key of one; an empty digest ends it."""
        with transaction(self._engine) as c:
            old = newest(c, stations, stations.c.name == name)
            values = {"name": name, "key_digest": key_digest, "by": by}
            add_entry(c, stations, replaces=old["id"] if old else None, **values)

    def all(self) -> list[Station]:
        """Return the stations that have not ended."""
        rows = self._all(Station, select(stations).order_by(link_of(stations)))
        return [r for r in {r.name: r for r in rows}.values() if r.key_digest]

    def files_from(self, store: str) -> list[tuple[str, str]]:
        """Return name and digest of every file that entries of a store name, held ones included."""
        came = select(arrivals.c.entry_id).where(arrivals.c.store == store)
        found: list[tuple[str, str]] = []
        for name, digest in (
            (runs.c.recording, runs.c.recording_sha256),
            (rotor_runs.c.recording, rotor_runs.c.recording_sha256),
            (sheets.c.kept_as, sheets.c.sha256),
        ):
            mine = select(name, digest).where(name.table.c.id.in_(came))
            found += [tuple(r.values()) for r in self._rows(mine)]
        told = select(events.c.content).where(events.c.id.in_(came))
        found += [named for r in self._rows(told) if (named := file_of(r))]
        waiting = select(held.c.content, held.c.of_table).where(held.c.store == store)
        found += [named for r in self._rows(waiting) if (named := file_of(r["content"]))]
        return sorted({f for f in found if f[0]})


def file_of(row: Content) -> tuple[str, str] | None:
    """Return name and digest of the file an entry names, or None."""
    if row.get("recording"):
        return row["recording"], row["recording_sha256"]
    if row.get("kept_as"):
        return row["kept_as"], row["sha256"]
    content = row.get("content")
    if isinstance(content, dict) and content.get("kept_as"):
        return content["kept_as"], content["sha256"]
    return None
