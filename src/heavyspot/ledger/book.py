"""The ledger's entries: adding and finding them. SQLAlchemy stays on this floor."""

from __future__ import annotations

from collections.abc import Iterable
from datetime import UTC, datetime
from pathlib import Path
from typing import Any

from sqlalchemy import Connection, Table, func, insert, select
from sqlalchemy.exc import IntegrityError, OperationalError

from ..quantities.errors import LedgerFault
from .archive import Archive
from .identity import new_id
from .schema import open_engine
from .tables import cuts, jobs, models, pieces, responses, rigs, runs, sheets

Row = dict[str, Any]


def now_utc() -> str:
    """Return the time, UTC, ISO 8601 with milliseconds."""
    return datetime.now(UTC).isoformat(timespec="milliseconds").replace("+00:00", "Z")


class Book:
    """One shop's ledger.

    Parameters
    ----------
    folder : Path
        Data folder; made when it is not there.
    url : str, optional
        Database; SQLite in the folder when not given.
    """

    def __init__(self, folder: Path, url: str | None = None) -> None:
        self.folder = Path(folder)
        try:
            self.folder.mkdir(parents=True, exist_ok=True)
        except OSError as fault:
            raise LedgerFault(
                f"The data folder {folder} cannot be made ({fault.strerror}).",
                remedy="Name another with --data.",
            ) from None
        self._engine = open_engine(url or f"sqlite:///{self.folder / 'ledger.sqlite'}")
        self.archive = Archive(self.folder)

    def close(self) -> None:
        """Close all connections."""
        self._engine.dispose()

    # -- adding ---------------------------------------------------------------------------------

    def add_model(self, name: str, content: Row, *, by: str = "") -> str:
        """Add a model, or a new version of it; returns its id."""
        with self._write() as c:
            old = self._newest(c, models, models.c.name == name)
            return self._add(c, models, name=name, content=content, by=by, replaces=_id(old))

    def add_rig(self, name: str, content: Row, *, by: str = "") -> str:
        """Add a rig, or a new version of it; returns its id."""
        with self._write() as c:
            old = self._newest(c, rigs, rigs.c.name == name)
            return self._add(c, rigs, name=name, content=content, by=by, replaces=_id(old))

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
        LedgerFault
            The serial is there already.
        """
        try:
            with self._write() as c:
                job = None
                if invoice:
                    job = self._newest(
                        c, jobs, (jobs.c.invoice == invoice) & (jobs.c.customer == customer)
                    )
                job_id = (
                    job["id"]
                    if job
                    else self._add(c, jobs, customer=customer, invoice=invoice, by=by)
                )
                return self._add(
                    c, pieces, serial=serial, model=model, job_id=job_id, position=position, by=by
                )
        except IntegrityError:
            raise LedgerFault(
                f'A piece with serial "{serial}" is there already.',
                remedy="Go on with that piece, or give this one another serial.",
            ) from None

    def add_run(self, entry: Row, asked: Iterable[Row], learnt: Iterable[Row]) -> str:
        """Add a run with the cuts asked after it and the responses learnt, all or nothing."""
        try:
            with self._write() as c:
                run_id = self._add(c, runs, **entry)
                for cut in asked:
                    self._add(c, cuts, kind="asked", **cut)
                for response in learnt:
                    self._add(c, responses, **response)
                return run_id
        except IntegrityError:
            raise LedgerFault(
                "Another run of this piece was recorded at the same moment.",
                remedy="Look at the piece again, then repeat the entry.",
            ) from None

    def add_cut(self, entry: Row) -> str:
        """Add a cut made; returns its id."""
        with self._write() as c:
            return self._add(c, cuts, kind="made", **entry)

    def add_sheet(self, entry: Row) -> str:
        """Add a sheet; returns its id."""
        with self._write() as c:
            return self._add(c, sheets, **entry)

    # -- finding --------------------------------------------------------------------------------

    def model(self, name: str) -> Row | None:
        """Return the newest version of a model, or None."""
        with self._engine.connect() as c:
            return self._newest(c, models, models.c.name == name)

    def model_names(self) -> list[str]:
        """Return the names of all models."""
        with self._engine.connect() as c:
            return [
                r[0] for r in c.execute(select(models.c.name).distinct().order_by(models.c.name))
            ]

    def rig(self, name: str) -> Row | None:
        """Return the newest version of a rig, or None."""
        with self._engine.connect() as c:
            return self._newest(c, rigs, rigs.c.name == name)

    def piece(self, serial: str) -> Row | None:
        """Return a piece with its job's customer and invoice, or None."""
        query = (
            select(pieces, jobs.c.customer, jobs.c.invoice)
            .join(jobs, pieces.c.job_id == jobs.c.id)
            .where(pieces.c.serial == serial)
        )
        with self._engine.connect() as c:
            row = c.execute(query).mappings().first()
            return dict(row) if row else None

    def pieces(self, *, job_id: str | None = None) -> list[Row]:
        """Return all pieces, or a job's, with their last run's number and verdict, oldest first."""
        last = (
            select(runs.c.piece_id, func.max(runs.c.number).label("number"))
            .group_by(runs.c.piece_id)
            .subquery()
        )
        query = (
            select(pieces, jobs.c.customer, jobs.c.invoice, runs.c.number, runs.c.verdict)
            .join(jobs, pieces.c.job_id == jobs.c.id)
            .outerjoin(last, last.c.piece_id == pieces.c.id)
            .outerjoin(runs, (runs.c.piece_id == pieces.c.id) & (runs.c.number == last.c.number))
            .order_by(pieces.c.id)
        )
        if job_id is not None:
            query = query.where(pieces.c.job_id == job_id)
        return self._rows(query)

    def siblings(self, job_id: str, piece_id: str) -> list[Row]:
        """Return the other pieces of a job with their last verdict."""
        return [p for p in self.pieces(job_id=job_id) if p["id"] != piece_id]

    def runs(self, piece_id: str) -> list[Row]:
        """Return a piece's runs in order."""
        return self._rows(select(runs).where(runs.c.piece_id == piece_id).order_by(runs.c.number))

    def cuts(self, piece_id: str, kind: str) -> list[Row]:
        """Return a piece's cuts of a kind in order, those that were amended left out."""
        amended = select(cuts.c.replaces).where(cuts.c.replaces.is_not(None))
        return self._rows(
            select(cuts)
            .where(cuts.c.piece_id == piece_id, cuts.c.kind == kind, cuts.c.id.not_in(amended))
            .order_by(cuts.c.id)
        )

    def responses(self, model: str, plane: str, *, not_piece: str, most: int = 400) -> list[Row]:
        """Return the newest response learnt from each other piece of a model, newest first."""
        newest = (
            select(responses.c.piece_id, func.max(responses.c.id).label("id"))
            .where(
                responses.c.model == model,
                responses.c.plane == plane,
                responses.c.piece_id != not_piece,
            )
            .group_by(responses.c.piece_id)
            .subquery()
        )
        return self._rows(
            select(responses)
            .join(newest, responses.c.id == newest.c.id)
            .order_by(responses.c.id.desc())
            .limit(most)
        )

    def sheet_count(self, year: str) -> int:
        """Return how many sheets carry a number of that year."""
        with self._engine.connect() as c:
            query = (
                select(func.count()).select_from(sheets).where(sheets.c.number.like(f"{year}-%"))
            )
            return int(c.execute(query).scalar_one())

    # -- inside ---------------------------------------------------------------------------------

    def _write(self) -> Any:
        return _Transaction(self._engine)

    def _rows(self, query: Any) -> list[Row]:
        with self._engine.connect() as c:
            return [dict(r) for r in c.execute(query).mappings()]

    @staticmethod
    def _add(c: Connection, table: Table, **values: Any) -> str:
        entry = {"id": new_id(), "at": now_utc(), **values}
        c.execute(insert(table).values(**entry))
        return str(entry["id"])

    @staticmethod
    def _newest(c: Connection, table: Table, condition: Any) -> Row | None:
        row = c.execute(select(table).where(condition).order_by(table.c.id.desc()).limit(1))
        found = row.mappings().first()
        return dict(found) if found else None


class _Transaction:
    """A write that is all or nothing, and on disk when it returns."""

    def __init__(self, engine: Any) -> None:
        self._context = engine.begin()

    def __enter__(self) -> Connection:
        try:
            connection: Connection = self._context.__enter__()
        except OperationalError as fault:
            raise _unwritable(fault) from None
        return connection

    def __exit__(self, *exc: Any) -> None:
        try:
            self._context.__exit__(*exc)
        except OperationalError as fault:
            raise _unwritable(fault) from None
        if isinstance(exc[1], OperationalError):
            raise _unwritable(exc[1]) from None


def _unwritable(fault: OperationalError) -> LedgerFault:
    return LedgerFault(
        f"The ledger cannot be written ({fault.orig}); nothing was changed.",
        remedy="Check the disk's free space and try again.",
    )


def _id(row: Row | None) -> str | None:
    return str(row["id"]) if row else None
