"""The ledger's entries: adding and finding them. SQLAlchemy stays on this floor."""

from __future__ import annotations

from collections.abc import Callable, Iterable, Iterator
from contextlib import AbstractContextManager, contextmanager
from pathlib import Path

from sqlalchemy import Connection, func, insert, select, update
from sqlalchemy.exc import IntegrityError

from ..quantities.errors import LedgerFault
from .entries.flow import FlowBook
from .entries.learnt import Learnt
from .entries.old_book import OldBook
from .entries.overruling import Overrulings
from .entries.piece_events import Papers
from .entries.reread import Rereading
from .entries.response_library import Lessons
from .entries.retention import Retiring
from .entries.rig import RigBook
from .entries.rotor import RotorBook
from .entries.station import Stations
from .entries.view_log import Looks
from .exchange.conflicts import Holding
from .exchange.exchange import Exchange
from .find.bulk_rows import Narrow
from .find.search import Search, index_pieces
from .store import chain
from .store.accounts import Accounts
from .store.archive import Archive
from .store.chain import Broken
from .store.entries import (
    Entries,
    Row,
    add_entry,
    current_job,
    newest,
    now_utc,
    pieces_as_they_stand,
    refuse_stale,
    standing,
    transaction,
)
from .store.schema import open_engine
from .store.tables import amendments, cuts, jobs, models, piece_index, pieces, rigs, runs

PIECE_FIELDS = ("serial", "model", "position")
JOB_FIELDS = ("customer", "invoice", "due", "note")


class Book(Entries):
    """One shop's ledger.

    Parameters
    ----------
    folder : Path
        Data folder; made when it is not there.
    url : str, optional
        Database; SQLite in the folder when not given.
    recordings_url : str
        Where recordings are handed over to; the folder when empty.
    """

    def __init__(self, folder: Path, url: str | None = None, *, recordings_url: str = "") -> None:
        self.folder = Path(folder)
        try:
            self.folder.mkdir(parents=True, exist_ok=True)
        except OSError as fault:
            raise LedgerFault(
                f"The data folder {folder} cannot be made ({fault.strerror}).",
                remedy="Name another with --data.",
            ) from None
        super().__init__(open_engine(url or f"sqlite:///{self.folder / 'ledger.sqlite'}"))
        self.archive = Archive(self.folder, recordings_url)
        self.accounts = Accounts(self._engine)
        self.rotors = RotorBook(self._engine)
        self.overruled = Overrulings(self._engine)
        self.papers = Papers(self._engine)
        self.search = Search(self._engine)
        self.old = OldBook(self._engine)
        self.exchange = Exchange(self._engine)
        self.holding = Holding(self._engine)
        self.stations = Stations(self._engine)
        self.looks = Looks(self._engine)
        self.lessons = Lessons(self._engine)
        self.rereading = Rereading(self._engine)
        self.narrow = Narrow(self._engine)
        self.flow = FlowBook(self._engine)
        self.rigs = RigBook(self._engine)
        self.retiring = Retiring(self._engine)

    def close(self) -> None:
        """Close all connections."""
        self._engine.dispose()

    def head(self) -> tuple[int, str]:
        """Return number and digest of the newest link of the chain."""
        return chain.head(self._engine)

    def has_link(self, digest: str) -> bool:
        """Whether a digest, as it stands on a sheet, is a link of this ledger."""
        return chain.has_link(self._engine, digest)

    def check_chain(self, progress: Callable[[int, int], None] | None = None) -> Iterator[Broken]:
        """Yield everything that is not as it was written."""
        return chain.check_chain(self._engine, progress=progress)

    # -- adding ---------------------------------------------------------------------------------

    def add_model(
        self,
        name: str,
        content: Row,
        *,
        kind: str = "cartridge",
        by: str = "",
        seen: str | None = None,
    ) -> str:
        """Add a model, or a new version of it; returns its id.

        Parameters
        ----------
        seen : str, optional
            Identifier of the version it was made from; empty: there was none.

        Raises
        ------
        LedgerFault
            The name is taken by a model of another kind, or somebody else made a version meanwhile.
        """
        with self._write() as c:
            old = newest(c, models, models.c.name == name)
            refuse_stale(old, seen)
            if old and old["kind"] != kind:
                raise LedgerFault(
                    f'"{name}" is already a model of the kind {old["kind"]}.',
                    remedy="Give this one another name.",
                )
            values = {"name": name, "kind": kind, "content": content, "by": by}
            return add_entry(c, models, replaces=_id(old), **values)

    def add_rig(self, name: str, content: Row, *, by: str = "", seen: str | None = None) -> str:
        """Add a rig, or a new version of it; returns its id; `seen` as in `add_model`."""
        with self._write() as c:
            old = newest(c, rigs, rigs.c.name == name)
            refuse_stale(old, seen)
            return add_entry(c, rigs, name=name, content=content, by=by, replaces=_id(old))

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
        with self._refusing(serial), self._write() as c:
            job = None
            if invoice:
                same = (piece_index.c.invoice == invoice) & (piece_index.c.customer == customer)
                job = c.execute(select(piece_index.c.job_id).where(same).limit(1)).scalar()
            job_id = job or add_entry(c, jobs, customer=customer, invoice=invoice, by=by)
            shown = {"customer": customer, "invoice": invoice}
            return self._add_piece(c, serial, model, job_id, position, by, shown)

    def add_job(self, job: Row, members: Iterable[Row], *, by: str = "") -> str:
        """Add a job with its pieces, all or nothing; returns its id.

        Raises
        ------
        LedgerFault
            A serial is there already.
        """
        members = list(members)
        with self._refusing(*(m["serial"] for m in members)), self._write() as c:
            job_id = add_entry(c, jobs, by=by, **job)
            shown = {k: job[k] for k in ("customer", "invoice")}
            for m in members:
                self._add_piece(c, m["serial"], m["model"], job_id, m["position"], by, shown)
            return job_id

    def amend_piece(
        self, piece_id: str, changes: Row, *, by: str, why: str, seen: str | None = None
    ) -> None:
        """Amend a piece's serial, model or position; what it was stays in the ledger.

        Parameters
        ----------
        seen : str, optional
            Identifier of the last amendment that was looked at; empty: there was none.
        """
        with self._refusing(changes.get("serial", "")), self._write() as c:
            refuse_stale(newest(c, amendments, amendments.c.of_id == piece_id), seen)
            entry = {"kind": "piece", "of_id": piece_id, "content": changes, "by": by, "why": why}
            add_entry(c, amendments, **entry)
            c.execute(
                update(piece_index).where(piece_index.c.piece_id == piece_id).values(**changes)
            )
            index_pieces(c, [piece_id])

    def amend_job(
        self, job_id: str, changes: Row, *, by: str, why: str, seen: str | None = None
    ) -> None:
        """Amend a job's customer, invoice, due date or note; `seen` as in `amend_piece`."""
        with self._write() as c:
            refuse_stale(newest(c, amendments, amendments.c.of_id == job_id), seen)
            entry = {"kind": "job", "of_id": job_id, "content": changes, "by": by, "why": why}
            add_entry(c, amendments, **entry)
            shown = {k: v for k, v in changes.items() if k in ("customer", "invoice")}
            if shown:
                c.execute(update(piece_index).where(piece_index.c.job_id == job_id).values(**shown))
            mine = select(piece_index.c.piece_id).where(piece_index.c.job_id == job_id)
            index_pieces(c, [r.piece_id for r in c.execute(mine).all()])

    def add_run(self, entry: Row, asked: Iterable[Row], learnt: Learnt) -> str:
        """Add a run with the cuts asked after it and what was learnt from it, all or nothing."""
        try:
            with self._write() as c:
                run_id = add_entry(c, runs, **entry)
                last = {k: entry.get(k) for k in ("number", "verdict", "worst_ratio")}
                mine = piece_index.c.piece_id == entry["piece_id"]
                c.execute(update(piece_index).where(mine).values(**last))
                for cut in asked:
                    add_entry(c, cuts, kind="asked", **cut)
                for table, rows in learnt.tables():
                    for row in rows:
                        add_entry(c, table, **row)
                index_pieces(c, [entry["piece_id"]])
                return run_id
        except IntegrityError:
            raise LedgerFault(
                "Another run of this piece was recorded at the same moment.",
                remedy="Look at the piece again, then repeat the entry.",
            ) from None

    def add_cut(self, entry: Row, *, once: bool = False) -> str:
        """Add a cut made; returns its id.

        Parameters
        ----------
        once : bool
            Only when none stands in that plane since that run; else nothing, and no id.
        """
        with self._write() as c:
            if once:
                mine = (cuts.c.piece_id == entry["piece_id"]) & (cuts.c.kind == "made")
                rows = [dict(r) for r in c.execute(select(cuts).where(mine)).mappings()]
                place = (entry["plane"], entry["after_run"])
                if any((r["plane"], r["after_run"]) == place for r in standing(rows)):
                    return ""
            return add_entry(c, cuts, kind="made", **entry)

    # -- finding --------------------------------------------------------------------------------

    def model(self, name: str) -> Row | None:
        """Return the newest version of a model, or None."""
        with self._engine.connect() as c:
            return newest(c, models, models.c.name == name)

    def model_names(self, kind: str = "cartridge") -> list[str]:
        """Return the names of all models of a kind."""
        query = select(models.c.name).where(models.c.kind == kind).distinct()
        with self._engine.connect() as c:
            return [r[0] for r in c.execute(query.order_by(models.c.name))]

    def rig(self, name: str) -> Row | None:
        """Return the newest version of a rig, or None."""
        with self._engine.connect() as c:
            return newest(c, rigs, rigs.c.name == name)

    def rig_names(self) -> list[str]:
        """Return the names of all rigs."""
        with self._engine.connect() as c:
            return [r[0] for r in c.execute(select(rigs.c.name).distinct().order_by(rigs.c.name))]

    def piece(self, serial: str) -> Row | None:
        """Return a piece as it stands, with its job's customer and invoice, or None."""
        rows = self._rows(pieces_as_they_stand().where(piece_index.c.serial == serial))
        return rows[0] if rows else None

    def pieces(self, *, job_id: str | None = None, most: int | None = None) -> list[Row]:
        """Return pieces, or a job's, with their last run's number and verdict, oldest first.

        Parameters
        ----------
        most : int, optional
            Only the newest so many.
        """
        query = pieces_as_they_stand().order_by(piece_index.c.piece_id.desc())
        if job_id is not None:
            query = query.where(piece_index.c.job_id == job_id)
        return self._rows(query.limit(most))[::-1]

    def pieces_by_id(self, ids: list[str]) -> list[Row]:
        """Return pieces as they stand by their identifiers; those that are not there are left out."""
        return self._rows(pieces_as_they_stand().where(piece_index.c.piece_id.in_(ids)))

    def piece_count(self) -> int:
        """Return how many pieces there are."""
        with self._engine.connect() as c:
            return int(c.execute(select(func.count()).select_from(piece_index)).scalar_one())

    def job(self, job_id: str) -> Row | None:
        """Return a job as it stands, or None."""
        with self._engine.connect() as c:
            return current_job(c, job_id)

    def recent_jobs(self, most: int = 60) -> list[Row]:
        """Return the newest jobs as they stand, newest first."""
        rows = self._rows(select(jobs).order_by(jobs.c.id.desc()).limit(most))
        by_id = {r["id"]: r for r in rows}
        query = select(amendments).where(amendments.c.of_id.in_(by_id)).order_by(amendments.c.id)
        for amendment in self._rows(query):
            by_id[amendment["of_id"]] |= amendment["content"]
        return rows

    def amendments(self, of_id: str) -> list[Row]:
        """Return the amendments of a piece or job, in order."""
        query = select(amendments).where(amendments.c.of_id == of_id)
        return self._rows(query.order_by(amendments.c.id))

    def siblings(self, job_id: str, piece_id: str) -> list[Row]:
        """Return the other pieces of a job with their last verdict."""
        return [p for p in self.pieces(job_id=job_id) if p["id"] != piece_id]

    def runs(self, piece_id: str) -> list[Row]:
        """Return a piece's runs in order, as they stand: with the verdict an inspector let stand, if one did."""
        rows = self._rows(select(runs).where(runs.c.piece_id == piece_id).order_by(runs.c.number))
        overruled = self.overruled.of_piece(piece_id)
        return [_as_it_stands(r, overruled.get(r["number"])) for r in rows]

    def cuts(self, piece_id: str, kind: str) -> list[Row]:
        """Return a piece's cuts of a kind in order, without those amended or never made."""
        mine = select(cuts).where(cuts.c.piece_id == piece_id, cuts.c.kind == kind)
        return standing(self._rows(mine.order_by(cuts.c.id)))

    def run_count(self, piece_id: str) -> int:
        """Return how many runs a piece has."""
        with self._engine.connect() as c:
            query = select(func.count()).select_from(runs).where(runs.c.piece_id == piece_id)
            return int(c.execute(query).scalar_one())

    # -- inside ---------------------------------------------------------------------------------

    def _write(self) -> AbstractContextManager[Connection]:
        return transaction(self._engine)

    @staticmethod
    def _add_piece(
        c: Connection,
        serial: str,
        model: str,
        job_id: str,
        position: str,
        by: str,
        shown: Row,
    ) -> str:
        """Add a piece and its line in the index; `shown` is its job's customer and invoice."""
        values: Row = {"serial": serial, "model": model, "job_id": job_id, "position": position}
        piece_id = add_entry(c, pieces, by=by, **values)
        values |= {"piece_id": piece_id, "day": now_utc()[:10], **shown}
        c.execute(insert(piece_index).values(**values))
        index_pieces(c, [piece_id])
        return piece_id

    @staticmethod
    @contextmanager
    def _refusing(*serials: str) -> Iterator[None]:
        """Turn a broken uniqueness into words."""
        try:
            yield
        except IntegrityError as fault:
            named = [s for s in serials if s and s in str(fault.params)] or list(serials)
            raise LedgerFault(
                f'A piece with serial "{named[0]}" is there already.',
                remedy="Go on with that piece, or give this one another serial.",
            ) from None


def _id(row: Row | None) -> str | None:
    return str(row["id"]) if row else None


def _as_it_stands(run: Row, overruled: Row | None) -> Row:
    """Return a run with the verdict that stands, and who let it stand and why."""
    if overruled is None:
        return run
    said = {k: overruled[k] for k in ("by", "at", "why", "finding")}
    result = run["result"] | {"verdict": overruled["verdict"], "overruled": said}
    return run | {"verdict": overruled["verdict"], "result": result}
