"""The report of a cartridge's last run that could be judged."""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np

from ..._version import __version__
from ...balance.limits import Limit, SensorVerdict
from ...ledger.records import Cut
from ...quantities.angles import clock_text
from ...quantities.errors import NotThere
from ...quantities.finding import finding_said
from ...quantities.said import Said, as_it_is, kept
from ...sheet.cartridge import SheetCurve, SheetCut, SheetReport
from ...signal.curve import Curve
from ..cartridge import cartridge_story, past_runs
from ..model import ModelFile, parse_model
from ..reading import KeptOverruling, KeptRecording, KeptResult
from ..shop import Workshop
from ..shop_file import load_shop_file
from .head import calibration_said, head_of
from .uncertainty import coverage_of, uncertainty_said

CAUTIONS = (Said("caution.run_maker"),)
"""Cautions on every sheet (common practice, no source)."""

FITTING = tuple(Said(f"fitting.{c}") for c in ("oil", "prime", "free", "loose", "idle"))
"""What to check when it is fitted, unless the shop has its own list (common practice, no source)."""


def make_report(
    shop: Workshop, serial: str, *, number: str, at: str | None = None, by: str = ""
) -> SheetReport:
    """Return the report of a piece's last run that could be judged.

    Parameters
    ----------
    at : str, optional
        When it is issued; now when not given.
    by : str
        Who issues it, and so stands for it.

    Raises
    ------
    NotThere
        The piece has no run with a curve.
    """
    story = cartridge_story(shop, serial)
    runs = [r for r in past_runs(shop, story) if r.curves and r.run.result.worst]
    if not runs:
        raise NotThere(
            Said("refusal.has_no_run_that_could", {"serial": serial}),
            remedy=Said("remedy.spin_it_to_test_speed"),
        )
    last, first = runs[-1], runs[0]
    entry, result, conditions = last.run.entry, last.run.result, last.run.conditions
    worst = result.worst
    assert worst is not None and result.margin is not None  # only such runs were taken
    model = parse_model(dict(conditions.model), name="the run's model")
    sensor = result.sensor
    house = model.house_limit(sensor)
    return SheetReport(
        **head_of(
            shop, story.piece, "run", rig=entry.rig, number=number, at=at, by=by, cautions=CAUTIONS
        ),
        model=model.name,
        position=kept(Said(f"position.{story.piece.position}"), story.piece.position),
        rotation=model.rotation,
        test_speed_rpm=model.test_speed_rpm,
        calibration=calibration_said(conditions.rig, entry.at),
        sensor=_sensor(conditions.recording, result.each),
        operator=entry.by,
        run=last.number,
        run_id=entry.id,
        spun_at=entry.recorded_at or entry.at,
        recording_sha256=entry.recording_sha256,
        verdict=result.verdict,
        margin=result.margin,
        worst_speed_rpm=worst.speed_rpm,
        worst_g=worst.amplitude_g,
        worst_u_g=coverage_of(result) * worst.uncertainty_g,
        worst_limit_g=worst.limit_g,
        reason=kept(result.reason_said, result.reason),
        limit_speed_rpm=house.speed_rpm,
        limit_g=house.limit_g,
        tiers=_reached(model.tiers(), last.curves, result),
        first=_curve(first.number, first.curves_of(sensor)[0]) if first is not last else None,
        last=_curve(last.number, last.curves_of(sensor)[0]),
        cuts=tuple(
            _cut(i, c, model)
            for i, c in enumerate((c for c in story.made if c.after_run < last.number), start=1)
        ),
        findings=tuple(finding_said(f) for f in result.findings),
        fitting=_fitting(shop) if result.verdict == "pass" else (),
        overruled=_overruled(result.overruled),
        uncertainty=uncertainty_said(shop, result, story.piece.id, model),
        program=Said("program.run", {"program": __version__, "read_with": conditions.program}),
    )


def _overruled(kept: KeptOverruling | None) -> Said | None:
    if kept is None:
        return None
    values = {"who": kept.by, "day": kept.at[:10], "why": kept.why, "finding": kept.finding}
    return Said("verdict.overruled", {**values})


def _curve(number: int, curve: Curve) -> SheetCurve:
    return SheetCurve(
        number,
        tuple(float(v) for v in curve.speed_rpm),
        tuple(float(f"{v:.5g}") for v in np.abs(curve.vector[0])),
    )


def _cut(number: int, cut: Cut, model: ModelFile) -> SheetCut:
    plane = next((p for p in model.plane if p.name == cut.plane), None)
    turning = plane.seen_turning(model.rotation) if plane else model.rotation
    return SheetCut(
        number,
        cut.plane,
        plane.seen_from if plane else "compressor",
        cut.angle_deg,
        clock_text(cut.angle_deg, turning),
        cut.depth_mm,
        cut.mass_mg,
        cut.after_run,
    )


def _fitting(shop: Workshop) -> tuple[Said, ...]:
    own = load_shop_file(shop.folder).fitting
    return tuple(as_it_is(line) for line in own) if own else FITTING


def _reached(
    tiers: Sequence[Limit], curves: tuple[Curve, ...], result: KeptResult
) -> tuple[tuple[str, Said], ...]:
    """Return the stricter limits a passed piece keeps with all of its doubt; of the others nothing is said."""
    worst = result.worst
    if result.verdict != "pass" or worst is None:
        return ()
    doubt = 1 + coverage_of(result) * worst.uncertainty_g / worst.amplitude_g
    ratios = [
        (t.name, max(float((np.abs(c.vector) / t.at(c.speed_rpm)).max()) for c in curves))
        for t in tiers
    ]
    return tuple((name, Said("tier.reached", {"ratio": r})) for name, r in ratios if r * doubt <= 1)


def _sensor(recording: KeptRecording, each: Sequence[SensorVerdict]) -> str:
    """Return what it was measured with; of several sensors, what each read and was allowed too."""
    found = []
    for channel in recording.channels:
        if channel.quantity != "acceleration":
            continue
        said = [channel.sensor, channel.name]
        if channel.sensitivity:
            said.append(f"{channel.sensitivity.value:g} {channel.sensitivity.unit}")
        said += [
            f"{e.worst.amplitude_g:.2f} g ≤ {e.worst.limit_g:g} g"
            if e.worst.ratio <= 1
            else f"{e.worst.amplitude_g:.2f} g > {e.worst.limit_g:g} g"
            for e in each
            if e.sensor == channel.name
        ]
        found.append(", ".join(s for s in said if s))
    return "; ".join(found)
