"""Issuing a sheet: the PDF on disk first, then its number and its entry in the ledger."""

from __future__ import annotations

import hashlib
import json
from collections.abc import Callable
from dataclasses import dataclass
from errno import EISDIR
from pathlib import Path
from typing import Any, Generic, TypeVar

from ...ledger.records import Piece, Sheet
from ...ledger.store.entries import now_utc
from ...ledger.store.identity import new_id
from ...quantities.durable import aside, make_folder, remove, write_bytes
from ...quantities.errors import BadInput, LedgerFault
from ...quantities.said import Said
from ...sheet.head import Head
from ...sheet.look import SheetLook
from ...sheet.pdf import flow_pdf, rotor_pdf, sheet_pdf
from ..shop import Workshop, find_piece
from ..station import joined_of
from .cartridge import make_report
from .flow import make_flow_report
from .issued import give, pdf_of
from .look import shop_look
from .rotor import make_rotor_report
from .signature import check_sheet, signed

R = TypeVar("R", bound=Head)

TRIES = 50
"""Others may take a number while a sheet is being made; it is then made anew with the next one."""


@dataclass(frozen=True)
class Issued:
    """A sheet that was issued."""

    number: str
    digest: str
    path: str
    verdict: str


@dataclass(frozen=True)
class Kind(Generic[R]):
    """How a kind of sheet is made: its name in the ledger, its report, its PDF."""

    name: str
    report: Callable[..., R]
    pdf: Callable[[R, SheetLook], bytes]


RUN = Kind("run", make_report, sheet_pdf)
ROTOR = Kind("run", make_rotor_report, rotor_pdf)
FLOW = Kind("flow", make_flow_report, flow_pdf)


def issue_sheet(
    shop: Workshop,
    serial: str,
    output: str | Path | None = None,
    *,
    by: str = "",
    language: str = "",
    why: str = "",
) -> Issued:
    """Issue a cartridge's sheet: its bytes are kept for ever, and it takes the place of the one before.

    The number is taken when the file is on the disk.

    Parameters
    ----------
    output : str or Path, optional
        PDF file to write too; an older one of the same name is replaced only when the new one is complete.
    language : str
        en, de, fr, es or zh; the shop's own when empty.
    why : str
        Why, where a sheet of the same run stands already.

    Raises
    ------
    NotThere
        No such piece, or it has no run that could be judged.
    BadInput
        The output cannot be written, or a sheet of the same run stands and no reason is given.
    LedgerFault
        The disk refuses; no number is taken.
    """
    return _issue(shop, serial, output, by, language, why, RUN)


def issue_rotor_sheet(
    shop: Workshop,
    serial: str,
    output: str | Path | None = None,
    *,
    by: str = "",
    language: str = "",
    why: str = "",
) -> Issued:
    """Issue a rotor's sheet; as `issue_sheet`."""
    return _issue(shop, serial, output, by, language, why, ROTOR)


def issue_flow_sheet(
    shop: Workshop,
    serial: str,
    output: str | Path | None = None,
    *,
    by: str = "",
    language: str = "",
    why: str = "",
) -> Issued:
    """Issue the sheet of a piece's last flow test; as `issue_sheet`."""
    return _issue(shop, serial, output, by, language, why, FLOW)


def issue_sheet_of(
    shop: Workshop,
    serial: str,
    output: str | Path | None = None,
    *,
    by: str = "",
    language: str = "",
    why: str = "",
) -> Issued:
    """Issue the sheet that fits a piece's kind; as `issue_sheet`."""
    return _issue(shop, serial, output, by, language, why, _run_kind(find_piece(shop, serial)))


def sheet_now(
    shop: Workshop,
    serial: str,
    output: str | Path | None = None,
    *,
    kind: str = "run",
    by: str = "",
    language: str = "",
    why: str = "",
) -> Issued:
    """Return the sheet that stands, byte for byte; a new one is issued where none stands or a reason is given.

    Parameters
    ----------
    kind : str
        ``run``, as fits the piece's kind, or ``flow``.
    language
        Of a new one; another language than the issued one's needs a reason.

    Raises
    ------
    NotThere, BadInput, LedgerFault
        As `issue_sheet`; what the sheet that stands says has changed since, and no reason is given.
    """
    piece = find_piece(shop, serial)
    made_by = FLOW if kind == "flow" else _run_kind(piece)
    stands = shop.book.sheets.newest(piece.id, made_by.name)
    if stands is not None and not why.strip() and not language:
        report = made_by.report(shop, serial, number=stands.number, at=stands.at, by=stands.by)
        if report.run == stands.run_number and _says_the_same(shop, report, stands):
            path = None if output is None else _writable(Path(output))
            if path is not None:
                give(shop, stands, path)
            kept = str(path or shop.folder / str(stands.kept_as))
            return Issued(stands.number, stands.digest, kept, report.verdict)
    return _issue(shop, serial, output, by, language, why, made_by)


def _run_kind(piece: Piece) -> Kind[Any]:
    """Return which sheet a piece's run or reading gets."""
    return ROTOR if piece.kind == "rotor" else RUN


ASIDE = ("issued_at", "issued_by", "replaces", "ledger", "program", "cautions", "fitting")
"""What is about the issue, or the program's own words: it changes without anything of the piece having changed."""


def _says_the_same(shop: Workshop, report: Head, stands: Sheet) -> bool:
    """Whether a report made now says of the piece what the sheet that stands says."""
    then = check_sheet(pdf_of(shop, stands)).data
    return _same(json.loads(report.data()), {k: v for k, v in then.items() if k not in ASIDE})


def _same(now: Any, then: Any) -> bool:
    """Whether all that was said then is said now; what no sheet said yet at that time is no change."""
    if isinstance(now, dict) and isinstance(then, dict):
        return all(k in now and _same(now[k], said) for k, said in then.items())
    if isinstance(now, list) and isinstance(then, list):
        return len(now) == len(then) and all(map(_same, now, then))
    return bool(now == then)


def _issue(
    shop: Workshop,
    serial: str,
    output: str | Path | None,
    by: str,
    language: str,
    why: str,
    kind: Kind[R],
) -> Issued:
    path = None if output is None else _writable(Path(output))
    look, at, why = shop_look(shop.folder, language), now_utc(), why.strip()
    series = series_of(shop, at[:4])
    piece_id = find_piece(shop, serial).id
    for _ in range(TRIES):
        number = shop.book.sheets.next_number(series)
        report = kind.report(shop, serial, number=number, at=at, by=by)
        stands = shop.book.sheets.newest(piece_id, kind.name)
        if stands is not None and stands.run_number == report.run and not why:
            raise BadInput(
                Said(
                    "refusal.sheet_of_stands_a_new", {"number": stands.number, "at": stands.at[:10]}
                ),
                remedy=Said("remedy.say_why_another_one_is"),
            )
        signed_pdf = signed(kind.pdf(report, look), shop.folder, name=report.shop)
        sheet_id = new_id()
        kept_as = keep_paper(shop, sheet_id, at, signed_pdf)
        sheet = Sheet(
            id=sheet_id,
            number=number,
            piece_id=piece_id,
            kind=kind.name,
            run_number=report.run,
            digest=report.digest(),
            kept_as=kept_as,
            sha256=hashlib.sha256(signed_pdf).hexdigest(),
            by=by,
            why=why[:400],
        )
        if shop.book.sheets.add(sheet):
            if path is not None:
                give(shop, sheet, path)
            return Issued(number, sheet.digest, str(path or shop.folder / kept_as), report.verdict)
        remove(shop.folder / kept_as)
    raise LedgerFault(
        Said("refusal.too_many_sheets_are_being"), remedy=Said("remedy.issue_it_again")
    )


def series_of(shop: Workshop, year: str) -> str:
    """Return how numbers of this store begin: no two buildings, nor branches after a restore, share one."""
    station, branches = joined_of(shop.folder), shop.book.exchange.branches()
    begun = f"{year}-{station.name}" if station else f"{year}-"
    if not branches:
        return begun
    return f"{begun.rstrip('-')}-{branches[-1].name}-"


def keep_paper(shop: Workshop, sheet_id: str, at: str, pdf: bytes) -> str:
    """Keep a sheet's bytes, on the disk when it returns; returns the name they are kept under."""
    kept_as = f"papers/{at[:4]}/{at[5:7]}/{sheet_id}.pdf"
    path = shop.folder / kept_as
    try:
        make_folder(path.parent)
        write_bytes(path, pdf)
    except OSError as fault:
        raise LedgerFault(
            Said("refusal.the_sheet_cannot_be_kept", {"strerror": str(fault.strerror)}),
            remedy=Said("remedy.make_room_on_the_disk_then_issue"),
        ) from None
    return kept_as


def _writable(path: Path) -> Path:
    """Return where a sheet is to be written; raises `BadInput` when that cannot be, before a number is taken."""
    if not path.parent.exists():
        raise BadInput(
            Said("refusal.the_folder_is_not_there", {"parent": str(path.parent)}),
            remedy=Said("remedy.make_it_first"),
        )
    try:
        if path.is_dir():
            raise IsADirectoryError(EISDIR, "it is a folder")
        with (probe := aside(path)).open("wb"):
            pass
        remove(probe)
    except OSError as fault:
        raise BadInput(
            Said("refusal.cannot_be_written", {"path": str(path), "strerror": str(fault.strerror)}),
            remedy=Said("remedy.name_another_file"),
        ) from None
    return path
