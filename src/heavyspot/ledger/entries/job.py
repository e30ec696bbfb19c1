"""Jobs and their pieces in the ledger, and their amendments."""

from __future__ import annotations

from collections.abc import Iterable, Iterator
from contextlib import contextmanager
from typing import Any

from sqlalchemy import Connection, func, insert, select, update
from sqlalchemy.exc import IntegrityError

from ...quantities.errors import Taken
from ...quantities.said import Said
from ..find.search import index_pieces
from ..records import Amendment, Job, Piece, record
from ..store.entries import (
    Entries,
    add_entry,
    add_records,
    current_job,
    newest,
    now_utc,
    pieces_as_they_stand,
    refuse_stale,
    transaction,
)
from ..store.tables import amendments, flow_tests, jobs, models, old_rows, piece_index, pieces

PIECE_FIELDS = ("serial", "model", "position")
JOB_FIELDS = ("customer", "invoice", "due", "note")


class Jobs(Entries):
    """Jobs and pieces."""

    def add_piece(
        self,
        serial: str,
        model: str,
        *,
        customer: str = "",
        invoice: str = "",
        position: str = "",
        by: str = "",
    ) -> str:
        """Add a piece to its job (same customer and invoice: the same job); returns its id.

        Raises
        ------
        Taken
            The serial is there already.
        """
        with _refusing(serial), transaction(self._engine) as c:
            job_id = None
            if invoice:
                same = (piece_index.c.invoice == invoice) & (piece_index.c.customer == customer)
                job_id = c.execute(select(piece_index.c.job_id).where(same).limit(1)).scalar()
            job = Job(customer=customer, invoice=invoice, by=by)
            job_id = job_id or add_records(c, jobs, [job])[0]
            return _add_piece(c, serial, model, job_id, position, job)

    def add_job(self, job: Job, members: Iterable[tuple[str, str, str]]) -> str:
        """Add a job with its pieces, all or nothing; returns its id.

        Parameters
        ----------
        members : iterable of (serial, model, position)

        Raises
        ------
        Taken
            A serial is there already.
        """
        members = list(members)
        with _refusing(*(serial for serial, _, _ in members)), transaction(self._engine) as c:
            job_id = add_records(c, jobs, [job])[0]
            for serial, model, position in members:
                _add_piece(c, serial, model, job_id, position, job)
            return job_id

    def amend_piece(
        self, piece_id: str, changes: dict[str, str], *, by: str, why: str, seen: str | None = None
    ) -> None:
        """Amend a piece's serial, model or position; what it was stays in the ledger.

        Parameters
        ----------
        seen : str, optional
            Identifier of the last amendment that was looked at; empty: there was none.
        """
        with _refusing(changes.get("serial", "")), transaction(self._engine) as c:
            self._amend(c, "piece", piece_id, changes, by, why, seen)
            c.execute(
                update(piece_index).where(piece_index.c.piece_id == piece_id).values(**changes)
            )
            index_pieces(c, [piece_id])

    def amend_job(
        self, job_id: str, changes: dict[str, str], *, by: str, why: str, seen: str | None = None
    ) -> None:
        """Amend a job's customer, invoice, due date or note; `seen` as in `amend_piece`."""
        with transaction(self._engine) as c:
            self._amend(c, "job", job_id, changes, by, why, seen)
            shown = {k: v for k, v in changes.items() if k in ("customer", "invoice")}
            if shown:
                c.execute(update(piece_index).where(piece_index.c.job_id == job_id).values(**shown))
            mine = select(piece_index.c.piece_id).where(piece_index.c.job_id == job_id)
            index_pieces(c, [r.piece_id for r in c.execute(mine).all()])

    @staticmethod
    def _amend(
        c: Connection,
        kind: str,
        of_id: str,
        changes: dict[str, str],
        by: str,
        why: str,
        seen: str | None,
    ) -> None:
        refuse_stale(newest(c, amendments, amendments.c.of_id == of_id), seen)
        add_entry(c, amendments, kind=kind, of_id=of_id, content=changes, by=by, why=why)

    # -- finding --------------------------------------------------------------------------------

    def piece(self, serial: str) -> Piece | None:
        """Return a piece as it stands, with its job's customer and invoice, or None."""
        rows = self._all(Piece, pieces_as_they_stand().where(piece_index.c.serial == serial))
        return rows[0] if rows else None

    def pieces(
        self, *, job_id: str | None = None, kind: str | None = None, most: int | None = None
    ) -> list[Piece]:
        """Return pieces, a job's, or those of a kind, with their last run's verdict, oldest first.

        Parameters
        ----------
        most : int, optional
            Only the newest so many.
        """
        query = pieces_as_they_stand().order_by(piece_index.c.piece_id.desc())
        if job_id is not None:
            query = query.where(piece_index.c.job_id == job_id)
        if kind is not None:
            query = query.where(piece_index.c.kind == kind)
        return self._all(Piece, query.limit(most))[::-1]

    def pieces_by_id(self, ids: list[str]) -> list[Piece]:
        """Return pieces as they stand by their identifiers; those that are not there are left out."""
        return self._all(Piece, pieces_as_they_stand().where(piece_index.c.piece_id.in_(ids)))

    def piece_count(self) -> int:
        """Return how many pieces there are."""
        return self._count(select(func.count()).select_from(piece_index))

    def job(self, job_id: str) -> Job | None:
        """Return a job as it stands, or None."""
        with self._engine.connect() as c:
            found = current_job(c, job_id)
        return record(Job, found) if found else None

    def open_jobs(self, *, since: str) -> list[str]:
        """Return the jobs with a due date, or taken in since a time, UTC, of which a piece has not passed.

        A piece of the old book waits for nobody, nor one that came for its flow.
        """
        otherwise = select(old_rows.c.piece_id).union(select(flow_tests.c.piece_id))
        undone = piece_index.c.verdict.is_(None) | (piece_index.c.verdict != "pass")
        query = (
            select(jobs.c.id)
            .join(piece_index, piece_index.c.job_id == jobs.c.id)
            .where(undone & ((jobs.c.due != "") | (jobs.c.at >= since)))
            .where(piece_index.c.piece_id.not_in(otherwise))
            .distinct()
        )
        with self._engine.connect() as c:
            return [str(i) for i in c.execute(query).scalars()]

    def newest_jobs(self, most: int = 60) -> list[Job]:
        """Return the newest jobs as they stand, newest first."""
        rows = self._rows(select(jobs).order_by(jobs.c.id.desc()).limit(most))
        by_id = {r["id"]: r for r in rows}
        query = select(amendments).where(amendments.c.of_id.in_(by_id)).order_by(amendments.c.id)
        for amendment in self._all(Amendment, query):
            by_id[amendment.of_id] |= amendment.content
        return [record(Job, r) for r in rows]

    def amendments(self, *of_ids: str) -> list[Amendment]:
        """Return the amendments of pieces or jobs, in order."""
        query = select(amendments).where(amendments.c.of_id.in_(of_ids))
        return self._all(Amendment, query.order_by(amendments.c.id))

    def siblings(self, job_id: str, piece_id: str) -> list[Piece]:
        """Return the other pieces of a job with their last verdict."""
        return [p for p in self.pieces(job_id=job_id) if p.id != piece_id]


def kind_of_model(c: Connection, model: str) -> str:
    """Return what a model is of, cartridge when no model has the name."""
    known = newest(c, models, models.c.name == model)
    return str(known["kind"]) if known else "cartridge"


def _add_piece(c: Connection, serial: str, model: str, job_id: str, position: str, job: Job) -> str:
    """Add a piece and its line in the index."""
    values: dict[str, Any] = {
        "serial": serial,
        "model": model,
        "job_id": job_id,
        "position": position,
    }
    piece_id = add_entry(c, pieces, by=job.by, **values)
    values |= {"piece_id": piece_id, "day": now_utc()[:10], "kind": kind_of_model(c, model)}
    values |= {"customer": job.customer, "invoice": job.invoice}
    c.execute(insert(piece_index).values(**values))
    index_pieces(c, [piece_id])
    return piece_id


@contextmanager
def _refusing(*serials: str) -> Iterator[None]:
    """Turn a broken uniqueness into words."""
    try:
        yield
    except IntegrityError as fault:
        named = [s for s in serials if s and s in str(fault.params)] or list(serials)
        raise Taken(
            Said("refusal.a_piece_with_serial_is_there", {"serial": named[0]}),
            remedy=Said("remedy.go_on_with_that_piece"),
        ) from None
