"""Issuing a sheet: a number, the PDF on disk, the entry in the ledger."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass
from pathlib import Path
from typing import Generic, TypeVar

from ...ledger.records import Sheet
from ...ledger.store.entries import now_utc
from ...quantities.durable import put, write_aside
from ...quantities.errors import BadInput, LedgerFault
from ...sheet.head import Head
from ...sheet.look import SheetLook
from ...sheet.pdf import flow_pdf, rotor_pdf, sheet_pdf
from ..shop import Workshop, find_piece
from ..station import joined_of
from .cartridge import make_report
from .flow import make_flow_report
from .look import shop_look
from .rotor import make_rotor_report
from .signature import signed

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
    shop: Workshop, serial: str, output: str | Path, *, by: str = "", language: str = ""
) -> Issued:
    """Write a cartridge's sheet and record it.

    Parameters
    ----------
    output : str or Path
        PDF file; an older one of the same name is replaced only when the new one is complete.
    language : str
        en, de, fr, es or zh; the shop's own when empty.

    Raises
    ------
    NotThere
        No such piece, or it has no run that could be judged.
    BadInput
        The folder is not there.
    """
    return _issue(shop, serial, output, by, language, RUN)


def issue_rotor_sheet(
    shop: Workshop, serial: str, output: str | Path, *, by: str = "", language: str = ""
) -> Issued:
    """Write a rotor's sheet and record it; as `issue_sheet`."""
    return _issue(shop, serial, output, by, language, ROTOR)


def issue_flow_sheet(
    shop: Workshop, serial: str, output: str | Path, *, by: str = "", language: str = ""
) -> Issued:
    """Write the sheet of a piece's last flow test and record it; as `issue_sheet`."""
    return _issue(shop, serial, output, by, language, FLOW)


def issue_sheet_of(
    shop: Workshop, serial: str, output: str | Path, *, by: str = "", language: str = ""
) -> Issued:
    """Write the sheet that fits a piece's kind and record it; as `issue_sheet`."""
    rotor = find_piece(shop, serial).kind == "rotor"
    issue = issue_rotor_sheet if rotor else issue_sheet
    return issue(shop, serial, output, by=by, language=language)


def _issue(
    shop: Workshop, serial: str, output: str | Path, by: str, language: str, kind: Kind[R]
) -> Issued:
    path = Path(output)
    if not path.parent.exists():
        raise BadInput(f"The folder {path.parent} is not there.", remedy="Make it first.")
    look, at = shop_look(shop.folder, language), now_utc()
    station = joined_of(shop.folder)
    series = f"{at[:4]}-{station.name}" if station else f"{at[:4]}-"  # no two buildings share one
    for _ in range(TRIES):
        number = f"{series}{shop.book.sheets.count(series) + 1:05d}"
        report = kind.report(shop, serial, number=number, at=at, by=by)
        signed_pdf = signed(kind.pdf(report, look), shop.folder, name=report.shop)
        unfinished = write_aside(path, signed_pdf)
        sheet = Sheet(
            number=number,
            piece_id=find_piece(shop, serial).id,
            kind=kind.name,
            run_number=report.run,
            digest=report.digest(),
            by=by,
        )
        if shop.book.sheets.add(sheet):
            put(unfinished, path)
            return Issued(number, sheet.digest, str(path), report.verdict)
    raise LedgerFault("Too many sheets are being issued at this moment.", remedy="Issue it again.")
