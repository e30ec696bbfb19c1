"""Rows of the old book in the ledger: each once, on the piece it tells of."""

from __future__ import annotations

import time
from collections.abc import Sequence
from dataclasses import dataclass
from datetime import datetime
from typing import Any

from sqlalchemy import Connection, bindparam, insert, select, update

from ..find.search import index_pieces
from ..records import Content, OldBookEntry
from ..store.entries import Entries, add_entries, now_utc, transaction
from ..store.identity import new_id
from ..store.tables import jobs, old_rows, piece_index, pieces
from .job import kind_of_model


@dataclass(frozen=True)
class OldRow:
    """One row, ready to be kept.

    Attributes
    ----------
    digest : str
        SHA-256 of the row as it stood in the file: a row is kept once.
    serial, model, customer, invoice, position, date : str
        Of its piece, should that be new.
    content : dict
        All it tells.
    """

    digest: str
    serial: str
    model: str
    customer: str
    invoice: str
    position: str
    date: str
    content: Content

    @property
    def line(self) -> int:
        """Return the line of the file it stood in."""
        return int(self.content["line"])

    @property
    def cells(self) -> Content:
        """Return its cells by header."""
        found: Content = self.content["cells"]
        return found


class OldBook(Entries):
    """What came from elsewhere."""

    def known(self, digests: Sequence[str]) -> set[str]:
        """Return those digests whose rows are kept already."""
        found: set[str] = set()
        with self._engine.connect() as c:
            for at in range(0, len(digests), 500):
                mine = old_rows.c.digest.in_(digests[at : at + 500])
                found |= {r.digest for r in c.execute(select(old_rows.c.digest).where(mine))}
        return found

    def customers(self) -> list[str]:
        """Return the names of all customers."""
        query = select(piece_index.c.customer).distinct().where(piece_index.c.customer != "")
        with self._engine.connect() as c:
            return [r.customer for r in c.execute(query)]

    def serials_there(self, serials: Sequence[str]) -> set[str]:
        """Return those serials that are pieces of the ledger."""
        with self._engine.connect() as c:
            return set(_pieces_of(c, serials))

    def add(self, rows: Sequence[OldRow], *, by: str) -> tuple[int, int]:
        """Add rows whose digests are new, with the pieces and jobs they need, all or nothing.

        Returns
        -------
        tuple of int
            Pieces and jobs that were new.
        """
        with transaction(self._engine) as c:
            piece_of = _pieces_of(c, [r.serial for r in rows])
            new: dict[str, OldRow] = {}
            for r in rows:
                if r.serial not in piece_of:
                    new.setdefault(r.serial, r)
            made, job_count = _add_pieces(c, list(new.values()), by)
            piece_of |= made
            add_entries(
                c,
                old_rows,
                [
                    {
                        "piece_id": piece_of[r.serial],
                        "digest": r.digest,
                        "content": r.content,
                        "by": by,
                    }
                    for r in rows
                ],
            )
            touched = {piece_of[r.serial] for r in rows}
            _show_newest(c, list(touched))
            index_pieces(c, sorted(touched))
            return len(made), job_count

    def of_piece(self, piece_id: str) -> list[OldBookEntry]:
        """Return the rows that tell of a piece, by their date."""
        mine = self._all(OldBookEntry, select(old_rows).where(old_rows.c.piece_id == piece_id))
        return sorted(mine, key=lambda r: (r.content["date"], r.id))


def _pieces_of(c: Connection, serials: Sequence[str]) -> dict[str, str]:
    found: dict[str, str] = {}
    wanted = sorted(set(serials))
    for at in range(0, len(wanted), 500):
        mine = piece_index.c.serial.in_(wanted[at : at + 500])
        query = select(piece_index.c.serial, piece_index.c.piece_id).where(mine)
        found |= {r.serial: r.piece_id for r in c.execute(query)}
    return found


def _add_pieces(c: Connection, new: list[OldRow], by: str) -> tuple[dict[str, str], int]:
    """Add pieces, each to the job of its customer and invoice; returns serial to piece, and jobs made."""
    if not new:
        return {}, 0
    job_of: dict[tuple[str, str], str] = {}
    invoices = sorted({r.invoice for r in new if r.invoice})
    for at in range(0, len(invoices), 500):
        mine = piece_index.c.invoice.in_(invoices[at : at + 500])
        query = select(piece_index.c.invoice, piece_index.c.customer, piece_index.c.job_id)
        for r in c.execute(query.where(mine)):
            job_of.setdefault((r.invoice, r.customer), r.job_id)
    fresh, jobs_of = [], []
    for row in new:
        job = job_of.get((row.invoice, row.customer)) if row.invoice else None
        if job is None:
            job = _id_of_day(row.date)
            fresh.append({"id": job, "customer": row.customer, "invoice": row.invoice, "by": by})
            if row.invoice:
                job_of[row.invoice, row.customer] = job
        jobs_of.append(job)
    add_entries(c, jobs, fresh)
    entries = [
        {
            "id": _id_of_day(r.date),
            "serial": r.serial,
            "model": r.model,
            "job_id": job,
            "position": r.position,
            "by": by,
        }
        for r, job in zip(new, jobs_of, strict=True)
    ]
    ids = add_entries(c, pieces, entries)
    today = now_utc()[:10]
    kinds = {m: kind_of_model(c, m) for m in {r.model for r in new}}
    shown = [
        {
            "piece_id": i,
            "customer": r.customer,
            "invoice": r.invoice,
            "day": r.date or today,
            "kind": kinds[r.model],
            **{k: e[k] for k in ("serial", "model", "position", "job_id")},
        }
        for i, r, e in zip(ids, new, entries, strict=True)
    ]
    c.execute(insert(piece_index), shown)
    return {r.serial: i for i, r in zip(ids, new, strict=True)}, len(fresh)


def _id_of_day(day: str) -> str:
    """Return a new identifier that sorts among those of its day, so that old pieces do not pass for new."""
    if not day:
        return new_id()
    ms = int(datetime.fromisoformat(day + "T12:00:00+00:00").timestamp() * 1000)
    return new_id(min(max(ms, 0), int(time.time() * 1000)))


def _show_newest(c: Connection, piece_ids: list[str]) -> None:
    """Show the newest old verdict of pieces that have no run of the program's own."""
    newest: dict[str, tuple[str, str, str]] = {}
    for at in range(0, len(piece_ids), 500):
        ids = piece_ids[at : at + 500]
        unspun = select(piece_index.c.piece_id).where(
            piece_index.c.piece_id.in_(ids), piece_index.c.number.is_(None)
        )
        query = select(old_rows.c.id, old_rows.c.piece_id, old_rows.c.content)
        for r in c.execute(query.where(old_rows.c.piece_id.in_(unspun))):
            if r.content["verdict"]:
                key = (r.content["date"], r.id, r.content["verdict"])
                newest[r.piece_id] = max(key, newest.get(r.piece_id, key))
    if newest:
        put: Any = update(piece_index).where(piece_index.c.piece_id == bindparam("p"))
        c.execute(
            put.values(verdict=bindparam("v")), [{"p": p, "v": v[2]} for p, v in newest.items()]
        )
