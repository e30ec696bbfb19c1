"""The report of a rotor's last reading."""

from __future__ import annotations

from ..._version import __version__
from ...quantities.angles import clock_text
from ...quantities.errors import NotThere
from ...quantities.said import Said, as_it_is, kept, kept_each
from ...sheet.rotor import RotorReport, SheetCorrection, SheetPlane, SheetVector
from ..rotor import KeptResidual, rotor_story
from ..shop import Workshop
from .head import calibration_said, head_of

CAUTIONS = (Said("caution.rotor_maker"), Said("caution.later_parts"))
"""Cautions on every rotor's sheet (common practice, no source)."""

BEARINGS = {"bearing A": Said("plane.bearing_a"), "bearing B": Said("plane.bearing_b")}
"""Planes named by us; all others by the shop."""


def make_rotor_report(
    shop: Workshop, serial: str, *, number: str, at: str | None = None, by: str = ""
) -> RotorReport:
    """Return the report of a rotor's last reading.

    Raises
    ------
    NotThere
        The rotor has no reading.
    """
    story = rotor_story(shop, serial)
    if story.last is None:
        raise NotThere(
            Said("refusal.has_not_been_measured", {"serial": serial}),
            remedy=Said("remedy.measure_it_first"),
        )
    first, last = story.readings[0], story.last
    entry, reading, rotor = last.entry, last.reading, last.rotor
    then = {p.name: p for p in first.reading.tolerance} if first is not last else {}
    return RotorReport(
        **head_of(
            shop, story.piece, "run", rig=entry.rig, number=number, at=at, by=by, cautions=CAUTIONS
        ),
        model=story.piece.model,
        rotation=rotor.rotation,
        mass_kg=rotor.mass_kg,
        service_speed_rpm=rotor.service_speed_rpm,
        speed_rpm=reading.speed_rpm,
        calibration=calibration_said(reading.machine, entry.at),
        operator=entry.by,
        run=last.number,
        measured_at=entry.at,
        way=Said(f"way.{reading.way}"),
        recording_sha256=entry.recording_sha256,
        rule=kept(reading.rule_said, reading.rule),
        verdict=reading.verdict,
        planes=tuple(
            SheetPlane(
                _plane(p.name, judged_in_bearings=rotor.in_bearings),
                p.limit_gmm,
                p.verdict,
                _vector(then[p.name]) if p.name in then else None,
                _vector(p),
            )
            for p in reading.tolerance
        ),
        corrections=tuple(
            SheetCorrection(
                c.made.plane,
                c.made.way,
                c.made.angle_deg,
                clock_text(c.made.angle_deg, rotor.rotation),
                c.made.amount_gmm,
                c.entry.after_run,
            )
            for c in story.corrections
            if c.entry.after_run < last.number
        ),
        notes=(
            *kept_each(reading.notes_said, reading.notes),
            *kept_each(reading.proofs_said, reading.proofs),
        ),
        uncertainty=(Said("uncertainty.rotor"),),
        program=Said("program.rotor", {"program": __version__, "measured_with": reading.program}),
    )


def _plane(name: str, *, judged_in_bearings: bool) -> Said:
    return BEARINGS[name] if judged_in_bearings else as_it_is(name)


def _vector(p: KeptResidual) -> SheetVector:
    values = (p.amount_gmm, p.angle_deg, p.uncertainty_gmm, p.circle_gmm)
    return SheetVector(*(float(f"{v:.5g}") for v in values))
