"""Issuing a sheet: a number, the PDF on disk, the entry in the ledger."""

from __future__ import annotations

import os
from collections.abc import Callable
from pathlib import Path
from typing import Any

from ...ledger.store.entries import now_utc
from ...quantities.errors import BadInput, LedgerFault
from ...sheet.look import SheetLook
from ...sheet.pdf import Report, flow_pdf, rotor_pdf, sheet_pdf
from ..shop import Workshop
from ..station.station import joined_of
from .cartridge import make_report
from .flow import make_flow_report
from .look import shop_look
from .rotor import make_rotor_report
from .signature import signed

TRIES = 50
"""Others may take a number while a sheet is being made; it is then made anew with the next one."""


def issue_sheet(
    shop: Workshop, serial: str, output: str | Path, *, by: str = "", language: str = ""
) -> dict[str, Any]:
    """Write a piece's sheet and record it.

    Parameters
    ----------
    output : str or Path
        PDF file; an older one of the same name is replaced only when the new one is complete.
    language : str
        en, de, fr, es or zh; the shop's own when empty.

    Returns
    -------
    dict
        ``number``, ``digest``, ``path``, ``verdict``.
    """
    return _issue(shop, serial, output, by, language, make_report, sheet_pdf)


def issue_rotor_sheet(
    shop: Workshop, serial: str, output: str | Path, *, by: str = "", language: str = ""
) -> dict[str, Any]:
    """Write a rotor's sheet and record it; as `issue_sheet`."""
    return _issue(shop, serial, output, by, language, make_rotor_report, rotor_pdf)


def issue_flow_sheet(
    shop: Workshop, serial: str, output: str | Path, *, by: str = "", language: str = ""
) -> dict[str, Any]:
    """Write the sheet of a piece's last flow test and record it; as `issue_sheet`."""
    return _issue(shop, serial, output, by, language, make_flow_report, flow_pdf)


def issue_sheet_of(
    shop: Workshop, serial: str, output: str | Path, *, by: str = "", language: str = ""
) -> dict[str, Any]:
    """Write the sheet that fits a piece's kind and record it; as `issue_sheet`."""
    rotor = shop.kind_of(shop.piece(serial)["model"]) == "rotor"
    issue = issue_rotor_sheet if rotor else issue_sheet
    return issue(shop, serial, output, by=by, language=language)


def _issue(
    shop: Workshop,
    serial: str,
    output: str | Path,
    by: str,
    language: str,
    report_of: Callable[..., Any],
    pdf_of: Callable[[Any, SheetLook], bytes],
) -> dict[str, Any]:
    path = Path(output)
    if not path.parent.exists():
        raise BadInput(f"The folder {path.parent} is not there.", remedy="Make it first.")
    look, at = shop_look(shop.book.folder, language), now_utc()
    station = joined_of(shop.book.folder)
    series = f"{at[:4]}-{station.name}" if station else f"{at[:4]}-"  # no two buildings share one
    for _ in range(TRIES):
        number = f"{series}{shop.book.papers.sheet_count(series) + 1:05d}"
        report: Report = report_of(shop, serial, number=number, at=at, by=by)
        pdf = pdf_of(report, look)
        unfinished = path.with_name(path.name + ".part")
        with unfinished.open("wb") as file:
            file.write(signed(pdf, shop.book.folder, name=report.shop))
            file.flush()
            os.fsync(file.fileno())
        entry = {
            "number": number,
            "piece_id": shop.piece(serial)["id"],
            "run_number": report.run,
            "digest": report.digest(),
            "by": by,
        }
        if shop.book.papers.add_sheet(entry):
            unfinished.replace(path)
            told = {"number": number, "digest": report.digest()}
            return told | {"path": str(path), "verdict": report.verdict}
    raise LedgerFault("Too many sheets are being issued at this moment.", remedy="Issue it again.")
