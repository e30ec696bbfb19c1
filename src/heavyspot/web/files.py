"""Papers as downloads: sheets and labels."""

from __future__ import annotations

import io
import tempfile
import zipfile
from collections.abc import Callable
from pathlib import Path
from typing import Annotated

from fastapi import Query, Response

from ..quantities.errors import NotThere
from ..sheet.label import label_pdf
from ..workshop.job.lookup import pieces_of_job
from ..workshop.sheets.issue import Issued, issue_sheet_of
from ..workshop.sheets.label import label_of
from ..workshop.shop import Workshop, find_piece

Language = Annotated[str, Query(max_length=2)]
"""Of a sheet; the shop's own when empty."""


def sheet_answer(shop: Workshop, serial: str, *, by: str, language: str = "") -> Response:
    """Return a newly issued sheet of a cartridge or rotor as a download."""
    return issued_answer(shop, serial, issue_sheet_of, by=by, language=language)


def issued_answer(
    shop: Workshop, serial: str, issue: Callable[..., Issued], *, by: str, language: str
) -> Response:
    """Return a newly issued sheet of any kind as a download."""
    with tempfile.TemporaryDirectory() as folder:
        path = Path(folder) / "sheet.pdf"  # of this request alone: others issue at the same moment
        made = issue(shop, serial, path, by=by, language=language)
        pdf = path.read_bytes()
    return pdf_answer(pdf, f"sheet-{made.number}.pdf")


def job_sheets_answer(shop: Workshop, job_id: str, *, by: str, language: str = "") -> Response:
    """Return newly issued sheets of every measured piece of a job, as one archive.

    Raises
    ------
    NotThere
        Nothing of the job has been measured.
    """
    out = io.BytesIO()
    members = [m for m in pieces_of_job(shop, job_id) if m.number]
    if not members:
        raise NotThere("Nothing of this job has been measured.", remedy="Spin or measure it first.")
    with zipfile.ZipFile(out, "w") as archive:
        for m in members:
            sheet = sheet_answer(shop, m.serial, by=by, language=language)
            name = sheet.headers["content-disposition"].split('"')[1]
            archive.writestr(name, sheet.body)
    headers = {"Content-Disposition": 'attachment; filename="sheets.zip"'}
    return Response(out.getvalue(), media_type="application/zip", headers=headers)


def label_answer(shop: Workshop, serials: list[str], size: str) -> Response:
    """Return labels as a download."""
    return pdf_answer(
        label_pdf([label_of(find_piece(shop, s)) for s in serials], size=size), "label.pdf"
    )


def pdf_answer(pdf: bytes, name: str) -> Response:
    """Return a PDF as a download."""
    headers = {"Content-Disposition": f'attachment; filename="{name}"'}
    return Response(pdf, media_type="application/pdf", headers=headers)
