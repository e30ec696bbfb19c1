"""The verdict on a run's curves, and the conditions it was measured under."""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import replace
from typing import Any

import numpy as np

from ..._version import __version__
from ...balance.limits import PASS_K, Judgement, amplitude_uncertainty, deciding, judge
from ...ledger.book import Book
from ...quantities.finding import Finding, blocking_of, finding_said
from ...signal.curve import Curve
from ...sources.recording import Recording
from ...sources.sidecar import describe
from ..model import ModelFile
from ..rig import newest_study, shaker_checks


def judge_curves(
    curves: tuple[Curve, ...], model: ModelFile, sensors: Sequence[str]
) -> Judgement | None:
    """Return the verdict over every pass of a run and every sensor; None when no point is in the range.

    Parameters
    ----------
    sensors : sequence of str
        Names, in the order of the curves' channels.
    """
    speed = np.concatenate([c.speed_rpm for c in curves])
    if not (speed >= model.from_rpm).any():
        return None
    return deciding({name: _judged(curves, i, name, model) for i, name in enumerate(sensors)})


def _judged(curves: tuple[Curve, ...], i: int, sensor: str, model: ModelFile) -> Judgement:
    scatter = model.scatter
    speed = np.concatenate([c.speed_rpm for c in curves])
    amplitude = np.concatenate([np.abs(c.vector[i]) for c in curves])
    noise = np.concatenate([c.noise[i] for c in curves])
    u = amplitude_uncertainty(
        amplitude,
        noise,
        repeat_share=scatter.run_share,
        calibration_share=scatter.calibration_share,
    )
    step = float(np.diff(curves[0].speed_rpm).min()) if curves[0].speed_rpm.size > 1 else 500.0
    return judge(
        speed,
        amplitude,
        u,
        model.house_limit(sensor),
        from_rpm=model.from_rpm,
        to_rpm=model.test_speed_rpm,
        step_rpm=step,
        pass_k=PASS_K,
    )


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


def fed_by_rig(book: Book, model: ModelFile, rig: str) -> ModelFile:
    """Return a model whose scatter is not smaller than what the rig's own study and shaker say.

    So the uncertainty of a verdict comes from the rig it is measured on: repeatability and reproducibility of its
    newest study, and the deviation of its newest shaker check as calibration.
    """
    if not rig:
        return model
    study, shakers = newest_study(book, rig), shaker_checks(book, rig)
    scatter = model.scatter
    update: dict[str, float] = {}
    if study and study.repeat_share > scatter.run_share:
        update |= {"run_share": min(0.49, study.repeat_share)}
    off = abs(shakers[-1].check.deviation) if shakers else 0.0
    if off > scatter.calibration_share:
        update |= {"calibration_share": min(0.19, off)}
    if not update:
        return model
    return model.model_copy(update={"scatter": scatter.model_copy(update=update)})


def frozen_conditions(book: Book, source: Recording, model: ModelFile, rig: str) -> dict[str, Any]:
    """Return what was true when it was measured; never recomputed from later settings."""
    house = model.house_limit()
    rig_entry = book.rigs.newest(rig) if rig else None
    return {
        "program": __version__,
        "recording": describe(
            source.channels,
            sample_rate_hz=source.sample_rate_hz,
            rotation=source.rotation or model.rotation,
            recorded_at=source.recorded_at,
            rig=source.rig,
            operator=source.operator,
            oil=(source.oil_temperature_c, source.oil_pressure_kpa),
        ),
        "model": model.model_dump(mode="json", exclude_unset=True),
        "rotation": model.rotation,
        "limit": {"speed_rpm": list(house.speed_rpm), "limit_g": list(house.limit_g)},
        "from_rpm": model.from_rpm,
        "test_speed_rpm": model.test_speed_rpm,
        "scatter": model.scatter.model_dump(),
        "rig": dict(rig_entry.content) if rig_entry else {},
    }
