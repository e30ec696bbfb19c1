"""Setting a report as PDF/A-3 with its data attached, through typst."""

from __future__ import annotations

import io
import json
from dataclasses import fields, is_dataclass
from functools import partial
from importlib.resources import as_file, files
from typing import Any

from ..quantities.angles import other_way
from ..quantities.dates import day_text, moment_text
from ..quantities.errors import BadInput, need
from ..quantities.said import Said, catalogue, in_words
from .before_after import calmer, curve_svg
from .cartridge import SheetReport
from .cut_dial import cut_dial_svg
from .flow import FlowReport
from .flow_plot import flow_svg
from .look import SheetLook
from .plots import Say
from .polar import polar_svg
from .rotor import RotorReport

Report = SheetReport | RotorReport | FlowReport


def sheet_pdf(report: SheetReport, look: SheetLook | None = None) -> bytes:
    """Return the sheet as PDF bytes; the same report and look give the same bytes."""
    look = look or SheetLook()
    drawings = {"curve": curve_svg(report, say=_say(look))}
    for side, turning in (("compressor", report.rotation), ("turbine", other_way(report.rotation))):
        seen = tuple(c for c in report.cuts if c.seen_from == side)
        drawings[f"dial_{side}"] = cut_dial_svg(seen, turning, accent=look.accent)
    return _compiled("sheet.typ", report, drawings, look, calmer=calmer(report))


def rotor_pdf(report: RotorReport, look: SheetLook | None = None) -> bytes:
    """Return a rotor's sheet as PDF bytes; the same report and look give the same bytes."""
    look = look or SheetLook()
    say = _say(look)
    drawings = {
        f"polar{i}": polar_svg(
            say(plane.name),
            plane.limit_gmm,
            [(v.amount_gmm, v.angle_deg, v.circle_gmm) for v in (plane.first, plane.last) if v],
            report.rotation,
            say=say,
        )
        for i, plane in enumerate(report.planes)
    }
    return _compiled("rotor.typ", report, drawings, look)


def flow_pdf(report: FlowReport, look: SheetLook | None = None) -> bytes:
    """Return a flow sheet as PDF bytes; the same report and look give the same bytes."""
    look = look or SheetLook()
    return _compiled("flow.typ", report, {"curve": flow_svg(report, say=_say(look))}, look)


def _say(look: SheetLook) -> Say:
    return partial(in_words, language=look.language)


def _worded(value: Any, say: Say) -> Any:
    """Return a report as a template reads it: all that is said in it, in the words of a language."""
    if isinstance(value, Said):
        return say(value)
    if is_dataclass(value):
        return {f.name: _worded(getattr(value, f.name), say) for f in fields(value)}
    return [_worded(v, say) for v in value] if isinstance(value, tuple) else value


def _times(report: Report, look: SheetLook) -> dict[str, dict[str, str]]:
    """Return a report's times on the shop's clock, and its days, as they are read in the sheet's language."""
    stamps = [f.name for f in fields(report) if f.name.endswith("_at")]
    return {
        "at": {n: moment_text(getattr(report, n), look.zone, look.language) for n in stamps},
        "on": {"received": day_text(report.received, look.language) if report.received else ""},
    }


def _compiled(
    template_name: str,
    report: Report,
    drawings: dict[str, str],
    look: SheetLook,
    **more: int,
) -> bytes:
    """Return PDF/A-3b with the report's JSON attached.

    Letters the sheet's fonts do not have (PDF/A forbids them) are set as plain PDF, so that a name never
    keeps a sheet from being made.

    Raises
    ------
    BadInput
        The logo cannot be drawn.
    """
    need("typst", "sheets", "Sheets and labels")
    import typst

    shown = {"language": look.language, "paper": look.paper, "accent": look.accent}
    inputs = {
        "data": report.data(),
        "digest": report.digest(),
        "qr": qr_svg(report),
        "words": _json(catalogue(look.language)),
        "look": _json(shown | {"logo": bool(look.logo)}),
        "logo": look.logo,
        "said": _json(_worded(report, _say(look)) | _times(report, look) | more),
        **drawings,
    }
    with as_file(files(__package__)) as folder:

        def compiled(**standard: Any) -> bytes:
            made: bytes = typst.compile(
                str(folder / template_name), format="pdf", sys_inputs=inputs,
                font_paths=[str(folder / "fonts")], ignore_system_fonts=True, **standard,
            )  # fmt: skip
            return made

        try:
            return compiled(pdf_standards="a-3b")
        except typst.TypstError as fault:
            if look.logo and ("SVG" in str(fault) or "image" in str(fault)):
                raise BadInput(
                    f"The logo cannot be drawn ({str(fault)[:120]}).", remedy="Take another file."
                ) from None
            if "could not be displayed" not in str(fault):
                raise
        return compiled()


def _json(value: Any) -> str:
    return json.dumps(value, ensure_ascii=False)


def qr_text(report: Report) -> str:
    """Return what the QR code says: where to verify it, or number and digest of its data."""
    if report.verify_url:
        return f"{report.verify_url.rstrip('/')}/verify/{report.number}?d={report.digest()}"
    return f"HEAVYSPOT {report.number} SHA256 {report.digest()}"


def qr_svg(report: Report) -> str:
    """Return the QR code as SVG."""
    need("segno", "sheets", "Sheets and labels")
    import segno

    out = io.BytesIO()
    segno.make(qr_text(report), error="m").save(
        out, kind="svg", border=0, dark="#22262b", xmldecl=False
    )
    return out.getvalue().decode()
