"""Papers as downloads: sheets and labels."""

from __future__ import annotations

import io
import zipfile
from contextlib import suppress
from typing import Annotated

from fastapi import Query, Response

from ..quantities.errors import NotThere
from ..quantities.said import Said
from ..sheet.label import label_pdf
from ..workshop.job.lookup import pieces_of_job
from ..workshop.sheets.issue import Issued
from ..workshop.sheets.issued import issued_sheet, newest_sheet, pdf_of
from ..workshop.sheets.label import label_of
from ..workshop.shop import Workshop, find_piece
from .page import goto

Language = Annotated[str, Query(max_length=2)]
"""Of a sheet; the shop's own when empty."""


def newest_sheet_answer(shop: Workshop, serial: str, kind: str = "run") -> Response:
    """Return a piece's newest sheet as it was issued, as a download; reading issues none."""
    return sheet_answer(shop, newest_sheet(shop, serial, kind).number)


def sheet_answer(shop: Workshop, number: str) -> Response:
    """Return a sheet as it was issued, as a download."""
    return pdf_answer(pdf_of(shop, issued_sheet(shop, number)), f"sheet-{number}.pdf")


def goto_sheet(issued: Issued) -> Response:
    """Return the way to a sheet that was issued: the press was a POST, the file is read with a GET."""
    return goto("/sheets", f"{issued.number}.pdf")


def sheets_of_job(shop: Workshop, job_id: str) -> list[str]:
    """Return the serials of a job's pieces that were measured; raises `NotThere` when none was."""
    measured = [m.serial for m in pieces_of_job(shop, job_id) if m.number]
    if not measured:
        raise NotThere(
            Said("refusal.nothing_of_this_job_has"), remedy=Said("remedy.spin_or_measure_it_first")
        )
    return measured


def job_sheets_answer(shop: Workshop, job_id: str) -> Response:
    """Return the newest sheets of a job's pieces as they were issued, as one archive.

    Raises
    ------
    NotThere
        Nothing of the job has been measured, or no sheet was issued yet.
    """
    out = io.BytesIO()
    with zipfile.ZipFile(out, "w") as archive:
        for serial in sheets_of_job(shop, job_id):
            with suppress(NotThere):  # of this one none was issued yet
                sheet = newest_sheet(shop, serial)
                archive.writestr(f"sheet-{sheet.number}.pdf", pdf_of(shop, sheet))
        if not archive.namelist():
            raise NotThere(
                Said("refusal.no_sheet_of_this_job"), remedy=Said("remedy.issue_them_first")
            )
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
