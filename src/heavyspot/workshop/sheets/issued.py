"""Sheets that were issued: the same bytes again, for ever."""

from __future__ import annotations

import hashlib
from pathlib import Path

from ...ledger.records import Sheet
from ...quantities.durable import write_bytes
from ...quantities.errors import LedgerFault, NotThere
from ...quantities.said import Said
from ..shop import Workshop, find_piece


def issued_sheet(shop: Workshop, number: str) -> Sheet:
    """Return an issued sheet by its number; raises `NotThere` when there is none."""
    sheet = shop.book.sheets.find(number)
    if sheet is None:
        raise NotThere(
            Said("refusal.there_is_no_sheet", {"number": number}),
            remedy=Said("remedy.check_the_number"),
        )
    return sheet


def sheets_of(shop: Workshop, piece_id: str) -> list[Sheet]:
    """Return a piece's sheets of every kind, in order."""
    return shop.book.sheets.of_piece(piece_id)


def newest_sheet(shop: Workshop, serial: str, kind: str = "run") -> Sheet:
    """Return a piece's newest sheet; raises `NotThere` when none was issued.

    Parameters
    ----------
    kind : str
        ``run`` or ``flow``.
    """
    sheet = shop.book.sheets.newest(find_piece(shop, serial).id, kind)
    if sheet is None:
        raise NotThere(
            Said("refusal.no_sheet_of_was_issued", {"serial": serial}),
            remedy=Said("remedy.issue_it_first"),
        )
    return sheet


def pdf_of(shop: Workshop, sheet: Sheet) -> bytes:
    """Return the bytes of an issued sheet, as they were issued.

    Raises
    ------
    NotThere
        It was issued before copies were kept.
    LedgerFault
        The kept file is missing, or not as it was issued.
    """
    if not sheet.kept_as:
        raise NotThere(
            Said("refusal.sheet_was_issued_before_this", {"number": sheet.number}),
            remedy=Said("remedy.the_customer_has_it_to"),
        )
    pdf = shop.book.archive.open(sheet.kept_as).read_bytes()
    if hashlib.sha256(pdf).hexdigest() != sheet.sha256:
        raise LedgerFault(
            Said("refusal.the_kept_file_of_sheet", {"number": sheet.number}),
            remedy=Said("remedy.restore_it_from_a_backup"),
        )
    return pdf


def give(shop: Workshop, sheet: Sheet, path: Path) -> None:
    """Write an issued sheet into a file, byte for byte; raises as `pdf_of`, and `LedgerFault` when it cannot."""
    pdf = pdf_of(shop, sheet)
    try:
        write_bytes(path, pdf)
    except OSError as fault:
        raise LedgerFault(
            Said(
                "refusal.sheet_is_issued_and_kept",
                {"number": sheet.number, "path": str(path), "strerror": str(fault.strerror)},
            ),
            remedy=Said("remedy.ask_for_it_again_with"),
        ) from None
