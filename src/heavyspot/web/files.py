"""Papers as downloads: sheets and labels."""

from __future__ import annotations

from collections.abc import Callable
from typing import Any

from fastapi import Response

from ..sheet.issue import issue_rotor_sheet, issue_sheet
from ..sheet.label import label_of, label_pdf
from ..workshop.shop import Workshop


def sheet_answer(shop: Workshop, serial: str, *, by: str) -> Response:
    """Return a newly issued sheet as a download."""
    return _sheet(shop, serial, issue_sheet, by)


def _sheet(shop: Workshop, serial: str, issue: Callable[..., dict[str, Any]], by: str) -> Response:
    folder = shop.book.folder / "sheets"
    folder.mkdir(exist_ok=True)
    made = issue(shop, serial, folder / "last.pdf", by=by)
    return pdf_answer((folder / "last.pdf").read_bytes(), f"sheet-{made['number']}.pdf")


def rotor_sheet_answer(shop: Workshop, serial: str, *, by: str) -> Response:
    """Return a newly issued sheet of a rotor as a download."""
    return _sheet(shop, serial, issue_rotor_sheet, by)


def label_answer(shop: Workshop, serials: list[str], size: str) -> Response:
    """Return labels as a download."""
    return pdf_answer(label_pdf([label_of(shop.piece(s)) for s in serials], size=size), "label.pdf")


def pdf_answer(pdf: bytes, name: str) -> Response:
    """Return a PDF as a download."""
    headers = {"Content-Disposition": f'attachment; filename="{name}"'}
    return Response(pdf, media_type="application/pdf", headers=headers)
