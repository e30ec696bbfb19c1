"""All of a piece's runs on one speed axis, ready to draw."""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np

from ...quantities.angles import angle_of
from ...quantities.arrays import Array
from ...sheet.drawn import CurvesView, DrawnPrediction, DrawnRun, PathPoint
from ..reading import KeptPrediction
from ..shop import Workshop
from .past import PastRun, past_runs, vector_at
from .story import CartridgeStory, cartridge_story

POINTS = 301


def curves_view(shop: Workshop, serial: str) -> CurvesView:
    """Return speeds, limit, each run's amplitude, and the last advice's prediction."""
    story = cartridge_story(shop, serial)
    return view_of(story, past_runs(shop, story))


def view_of(story: CartridgeStory, past: Sequence[PastRun]) -> CurvesView:
    """Return the view of a piece that was looked up already, with its curves."""
    model, runs = story.model, [r for r in past if r.curves]
    top = max([model.test_speed_rpm, *(float(r.curves[0].speed_rpm[-1]) for r in runs)])
    speed = np.linspace(0.0, top * 1.01, POINTS)
    return CurvesView(
        speed_rpm=tuple(round(float(s)) for s in speed),
        limit_g=_values(model.house_limit().at(speed)),
        from_rpm=model.from_rpm,
        test_speed_rpm=model.test_speed_rpm,
        runs=tuple(
            DrawnRun(r.number, _on(speed, r.curves[0].speed_rpm, np.abs(r.curves[0].vector[0])))
            for r in runs
        ),
        predicted=_drawn(speed, runs[-1].run.result.advice.predicted) if runs else None,
    )


def _drawn(speed: Array, predicted: KeptPrediction | None) -> DrawnPrediction | None:
    if predicted is None:
        return None
    at = np.array(predicted.speed_rpm)
    lines = (predicted.amplitude_g, predicted.low_g, predicted.high_g)
    return DrawnPrediction(*(_on(speed, at, np.array(y, dtype=float)) for y in lines))


def path_of(story: CartridgeStory, past: Sequence[PastRun]) -> tuple[PathPoint, ...]:
    """Return each run's vector at the last run's worst speed: the path to the centre."""
    limit = story.model.house_limit()
    runs = [r for r in past if r.curves and r.run.result.worst]
    worst = runs[-1].run.result.worst if runs else None
    if worst is None:
        return ()
    speed = np.array([worst.speed_rpm])
    out = []
    for r in runs:
        vector = complex(vector_at(r.curves[0], speed)[0])
        share = abs(vector) / (2 * float(limit.at(speed)[0]))
        out.append(PathPoint(r.number, float(angle_of(vector)), share))
    return tuple(out)


def _on(speed: Array, x: Array, y: Array) -> tuple[float | None, ...]:
    return _values(np.interp(speed, x, y, left=np.nan, right=np.nan))


def _values(values: Array) -> tuple[float | None, ...]:
    return tuple(round(float(v), 4) if np.isfinite(v) else None for v in values)
