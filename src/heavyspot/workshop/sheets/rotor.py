"""The report of a rotor's last reading."""

from __future__ import annotations

from typing import Any

from ..._version import __version__
from ...quantities.angles import clock_text
from ...quantities.errors import LedgerFault
from ...sheet.rotor import RotorReport, SheetCorrection, SheetPlane, SheetVector
from ..rotor.measuring import rotor_story
from ..shop import Workshop
from .head import calibration_text, head_of

CAUTIONS = (
    "Service speed, fits, keys and installation remain by the maker's data and local rules.",
    "The residual holds for the rotor as measured; parts fitted later add their own.",
)
"""Cautions on every rotor's sheet (common practice, no source)."""


WAYS = {
    "typed": "read off the machine's display",
    "forces": "from forces at the supports, many turns averaged",
    "influence": "from the supports' sensors through influence coefficients",
}


def make_rotor_report(
    shop: Workshop, serial: str, *, number: str, at: str | None = None, by: str = ""
) -> RotorReport:
    """Return the report of a rotor's last reading.

    Raises
    ------
    LedgerFault
        The rotor has no reading.
    """
    story = rotor_story(shop, serial)
    if not story["runs"]:
        raise LedgerFault(f"{serial} has not been measured.", remedy="Measure it first.")
    first, last = story["runs"][0], story["runs"][-1]
    piece = shop.piece(serial)
    rows = {r["number"]: r for r in shop.book.rotors.runs(piece["id"])}
    rotor = last["rotor"]
    then = {p["name"]: p for p in first["tolerance"]} if first is not last else {}
    return RotorReport(
        **head_of(shop, piece, number=number, at=at, by=by, cautions=CAUTIONS),
        model=story["model"],
        rotation=rotor["rotation"],
        mass_kg=rotor["mass_kg"],
        service_speed_rpm=rotor["service_speed_rpm"],
        speed_rpm=last["speed_rpm"],
        rig=last["rig"],
        calibration=calibration_text(last["machine"], last["at"]),
        operator=last["by"],
        run=last["number"],
        measured_at=last["at"],
        way=WAYS[last["way"]],
        recording_sha256=rows[last["number"]]["recording_sha256"],
        rule=last["rule"],
        verdict=last["verdict"],
        planes=tuple(
            SheetPlane(
                p["name"],
                p["limit_gmm"],
                p["verdict"],
                _vector(then[p["name"]]) if p["name"] in then else None,
                _vector(p),
            )
            for p in last["tolerance"]
        ),
        corrections=tuple(
            SheetCorrection(
                c["plane"],
                c["way"],
                c["angle_deg"],
                clock_text(c["angle_deg"], rotor["rotation"]),
                c["amount_gmm"],
                c["after_run"],
            )
            for c in story["corrections"]
            if c["after_run"] < last["number"]
        ),
        notes=(*last["notes"], *last["proofs"]),
        program=f"Heavyspot {__version__}, measured with {last['program']}",
    )


def _vector(p: dict[str, Any]) -> SheetVector:
    keys = ("amount_gmm", "angle_deg", "uncertainty_gmm", "circle_gmm")
    return SheetVector(*(float(f"{p[k]:.5g}") for k in keys))
