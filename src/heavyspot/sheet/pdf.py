"""Setting a report as PDF/A-3 with its data attached, through typst."""

from __future__ import annotations

import io
from importlib.resources import as_file, files

from ..workshop.report import SheetReport
from ..workshop.rotor_report import RotorReport
from .plots import curve_svg, dial_svg
from .polar import polar_svg


def sheet_pdf(report: SheetReport) -> bytes:
    """Return the sheet as PDF bytes; the same report gives the same bytes."""
    drawings = {"curve": curve_svg(report), "dial": dial_svg(report.cuts, report.rotation)}
    return _compiled("sheet.typ", report, drawings)


def rotor_pdf(report: RotorReport) -> bytes:
    """Return a rotor's sheet as PDF bytes; the same report gives the same bytes."""
    drawings = {
        f"polar{i}": polar_svg(
            plane.name,
            plane.limit_gmm,
            [(v.amount_gmm, v.angle_deg, v.circle_gmm) for v in (plane.first, plane.last) if v],
            report.rotation,
        )
        for i, plane in enumerate(report.planes)
    }
    return _compiled("rotor.typ", report, drawings)


def _compiled(
    template_name: str, report: SheetReport | RotorReport, drawings: dict[str, str]
) -> bytes:
    """Return PDF/A-3b with the report's JSON attached.

    Letters the sheet's font does not have (PDF/A forbids them) are set as plain PDF, so that a name never
    keeps a sheet from being made.
    """
    import typst

    inputs = {
        "data": report.data(),
        "digest": report.digest(),
        "qr": qr_svg(report),
        **drawings,
    }
    with as_file(files(__package__) / template_name) as template:
        try:
            return typst.compile(
                str(template),
                format="pdf",
                sys_inputs=inputs,
                pdf_standards="a-3b",
                ignore_system_fonts=True,
            )
        except typst.TypstError as fault:
            if "could not be displayed" not in str(fault):
                raise
        return typst.compile(str(template), format="pdf", sys_inputs=inputs)


def qr_text(report: SheetReport | RotorReport) -> str:
    """Return what the QR code says: where to verify it, or number and digest of its data."""
    if report.verify_url:
        return f"{report.verify_url.rstrip('/')}/verify/{report.number}?d={report.digest()}"
    return f"HEAVYSPOT {report.number} SHA256 {report.digest()}"


def qr_svg(report: SheetReport | RotorReport) -> str:
    """Return the QR code as SVG."""
    import segno

    out = io.BytesIO()
    segno.make(qr_text(report), error="m").save(
        out, kind="svg", border=0, dark="#22262b", xmldecl=False
    )
    return out.getvalue().decode()
