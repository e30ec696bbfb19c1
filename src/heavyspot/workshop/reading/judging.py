"""The verdict on a run's curves, and the conditions it was measured under."""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import asdict, replace
from typing import Any

import numpy as np

from ..._version import __version__
from ...balance.budget import Shares
from ...balance.limits import (
    PASS_K,
    USUAL_HOLE,
    Judgement,
    amplitude_uncertainty,
    as_first_run,
    deciding,
    judge,
)
from ...ledger.book import Book
from ...quantities.finding import Finding, blocking_of, finding_said
from ...signal.curve import Curve
from ...sources.curve_table import CurveTable
from ...sources.recording import Recording
from ...sources.sidecar import describe
from ..model import ModelFile
from ..rig import Measuring, measuring_of


def judge_curves(
    curves: tuple[Curve, ...],
    model: ModelFile,
    sensors: Sequence[str],
    shares: Shares | None = None,
    *,
    first: bool,
) -> Judgement | None:
    """Return the verdict over every pass of a run and every sensor; None when no point is in the range.

    Parameters
    ----------
    sensors : sequence of str
        Names, in the order of the curves' channels.
    shares : Shares, optional
        What goes with the amplitude; the model's, as assumed, when not given.
    first : bool
        Whether it is the first run of its piece.
    """
    speed = np.concatenate([c.speed_rpm for c in curves])
    if not (speed >= model.from_rpm).any():
        return None
    s = shares or Shares(model.scatter.run_share, model.scatter.calibration_share)
    judged = deciding({name: _judged(curves, i, name, model, s) for i, name in enumerate(sensors)})
    return as_first_run(judged) if first else judged


def _judged(
    curves: tuple[Curve, ...], i: int, sensor: str, model: ModelFile, shares: Shares
) -> Judgement:
    speed = np.concatenate([c.speed_rpm for c in curves])
    amplitude = np.concatenate([np.abs(c.vector[i]) for c in curves])
    noise = np.concatenate([c.noise[i] for c in curves])
    u = amplitude_uncertainty(
        amplitude,
        noise,
        repeat_share=shares.repeat,
        calibration_share=shares.calibration,
    )
    step, hole = _step_and_hole(curves[0], model)
    limit = model.house_limit(sensor)
    judged = judge(
        speed,
        amplitude,
        u,
        limit,
        from_rpm=model.from_rpm,
        to_rpm=model.test_speed_rpm,
        step_rpm=step,
        pass_k=PASS_K,
        degrees=shares.degrees(amplitude, noise),
        hole_rpm=hole,
    )
    inside = speed >= model.from_rpm
    at = np.argmax(amplitude[inside] / limit.at(speed[inside]))
    parts = shares.parts(judged.worst.amplitude_g, float(noise[inside][at]))
    return replace(judged, budget=parts)


def _step_and_hole(main: Curve, model: ModelFile) -> tuple[float, float | None]:
    """Return the step of a curve, and of a table how far its speeds may stand apart to count as measured."""
    if main.is_table:
        hole = (model.table_gap_share or USUAL_HOLE) * model.test_speed_rpm
        return 1.0, hole * 1.001  # speeds are typed as round numbers
    return (float(np.diff(main.speed_rpm).min()) if main.speed_rpm.size > 1 else 500.0), None


def ruled(judgement: Judgement | None, findings: Iterable[Finding]) -> Judgement | None:
    """Return the verdict as the findings leave it: undecided, with the reason, when one of them blocks.

    What the curve alone says is kept as `measured`, for an inspector who may overrule it.
    """
    blocking = blocking_of(findings)
    if judgement is None or not blocking:
        return judgement
    measured = judgement.measured or judgement.verdict
    return replace(
        judgement, verdict="undecided", reason=finding_said(blocking[0]), measured=measured
    )


def fed_by_rig(model: ModelFile, measuring: Measuring) -> ModelFile:
    """Return a model with the scatter of the rig it is measured on, for the advice."""
    shares = measuring.shares
    update = {"run_share": max(shares.repeat, 1e-3), "calibration_share": shares.calibration}
    return model.model_copy(update={"scatter": model.scatter.model_copy(update=update)})


def measuring_for(book: Book, model: ModelFile, rig: str) -> Measuring:
    """Return how a rig measures; what it does not say is assumed as the model states."""
    scatter = model.scatter
    return measuring_of(book, rig, repeat=scatter.run_share, calibration=scatter.calibration_share)


def frozen_conditions(
    book: Book, source: Recording, model: ModelFile, rig: str, measuring: Measuring
) -> dict[str, Any]:
    """Return what was true when it was measured; never recomputed from later settings."""
    recording = describe(
        source.channels,
        sample_rate_hz=source.sample_rate_hz,
        rotation=source.rotation or model.rotation,
        recorded_at=source.recorded_at,
        rig=source.rig,
        operator=source.operator,
        oil=(source.oil_temperature_c, source.oil_pressure_kpa),
    )
    return _conditions(book, recording, model, rig, measuring)


def conditions_of_table(
    book: Book, table: CurveTable, model: ModelFile, rig: str, measuring: Measuring
) -> dict[str, Any]:
    """Return the same of a run that came as a table."""
    about = {
        "rows": len(table.speed_rpm),
        "unit": table.unit,
        "measure": table.measure,
        "angles": table.angle_deg is not None,
    }
    recording = {
        "version": 1,
        "rotation": model.rotation,
        "recorded_at": table.recorded_at,
        "rig": table.rig,
        "operator": table.operator,
        "channels": [{"name": s, "quantity": "acceleration", "unit": "g"} for s in table.sensors],
        "table": about,
    }
    return _conditions(book, recording, model, rig, measuring)


def _conditions(
    book: Book, recording: dict[str, Any], model: ModelFile, rig: str, measuring: Measuring
) -> dict[str, Any]:
    house = model.house_limit()
    rig_entry = book.rigs.newest(rig) if rig else None
    return {
        "program": __version__,
        "recording": recording,
        "model": model.model_dump(mode="json", exclude_unset=True),
        "rotation": model.rotation,
        "limit": {"speed_rpm": list(house.speed_rpm), "limit_g": list(house.limit_g)},
        "from_rpm": model.from_rpm,
        "test_speed_rpm": model.test_speed_rpm,
        "scatter": model.scatter.model_dump(),
        "rig": dict(rig_entry.content) if rig_entry else {},
        "measuring": asdict(measuring),
    }
