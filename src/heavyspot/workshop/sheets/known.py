"""What the ledger knows of a sheet's number."""

from __future__ import annotations

from dataclasses import dataclass

from ...ledger.records import Sheet
from ..shop import Workshop


@dataclass(frozen=True)
class KnownSheet:
    """An issued sheet, and the newest of its kind of the same piece."""

    sheet: Sheet
    newest: Sheet

    @property
    def is_newest(self) -> bool:
        """Whether no newer one has taken its place."""
        return self.newest.number == self.sheet.number


def known_sheet(shop: Workshop, number: str) -> KnownSheet | None:
    """Return what the ledger knows of a number, or None when it is not ours."""
    sheet = shop.book.sheets.find(number)
    if sheet is None:
        return None
    return KnownSheet(sheet, shop.book.sheets.newest(sheet.piece_id, sheet.kind) or sheet)
