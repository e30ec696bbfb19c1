"""All of a piece's runs on one speed axis, ready to draw."""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np

from ...quantities.angles import angle_of
from ...quantities.arrays import Array
from ...sheet.drawn import CurvesView, DrawnPrediction, DrawnRun, DrawnSensor, PathPoint
from ..shop import Workshop
from .past import PastRun, past_runs, vector_at
from .story import CartridgeStory, cartridge_story

POINTS = 301


def curves_view(shop: Workshop, serial: str) -> CurvesView:
    """Return speeds, limit, each run's amplitude, and the last advice's prediction."""
    story = cartridge_story(shop, serial)
    return view_of(story, past_runs(shop, story))


def view_of(story: CartridgeStory, past: Sequence[PastRun]) -> CurvesView:
    """Return the view of a piece that was looked up already, with its curves: of the sensor that decides."""
    model, runs = story.model, [r for r in past if r.curves]
    top = max([model.test_speed_rpm, *(float(r.curves[0].speed_rpm[-1]) for r in runs)])
    speed = np.linspace(0.0, top * 1.01, POINTS)
    last = runs[-1] if runs else None
    sensor = last.run.result.sensor if last else ""
    return CurvesView(
        speed_rpm=tuple(round(float(s)) for s in speed),
        limit_g=_values(model.house_limit(sensor).at(speed)),
        from_rpm=model.from_rpm,
        test_speed_rpm=model.test_speed_rpm,
        runs=tuple(DrawnRun(r.number, _amplitude(r, sensor, speed)) for r in runs),
        predicted=_drawn(speed, last, sensor) if last else None,
        sensor=sensor,
        others=tuple(
            DrawnSensor(s, _values(model.house_limit(s).at(speed)), _amplitude(last, s, speed))
            for s in last.sensors
            if sensor and s != sensor
        )
        if last
        else (),
    )


def _amplitude(run: PastRun, sensor: str, speed: Array) -> tuple[float | None, ...]:
    curve = run.curves_of(sensor)[0]
    return _on(speed, curve.speed_rpm, np.abs(curve.vector[0]))


def _drawn(speed: Array, last: PastRun, sensor: str) -> DrawnPrediction | None:
    predicted = last.run.result.advice.predicted
    if predicted is None:
        return None
    place = last.place(sensor)
    if place > len(
        predicted.others
    ):  # the runs before had not this sensor: nothing was foretold of it
        return None
    predicted = (predicted, *predicted.others)[place]
    at = np.array(predicted.speed_rpm)
    lines = (predicted.amplitude_g, predicted.low_g, predicted.high_g)
    return DrawnPrediction(*(_on(speed, at, np.array(y, dtype=float)) for y in lines))


def path_of(story: CartridgeStory, past: Sequence[PastRun]) -> tuple[PathPoint, ...]:
    """Return each run's vector at the last run's worst speed: the path to the centre."""
    runs = [r for r in past if r.curves and r.run.result.worst]
    worst = runs[-1].run.result.worst if runs else None
    if worst is None:
        return ()
    sensor = runs[-1].run.result.sensor
    limit = story.model.house_limit(sensor)
    speed = np.array([worst.speed_rpm])
    out = []
    for r in runs:
        vector = complex(vector_at(r.curves[0], speed, r.place(sensor))[0])
        share = abs(vector) / (2 * float(limit.at(speed)[0]))
        out.append(PathPoint(r.number, float(angle_of(vector)), share))
    return tuple(out)


def _on(speed: Array, x: Array, y: Array) -> tuple[float | None, ...]:
    return _values(np.interp(speed, x, y, left=np.nan, right=np.nan))


def _values(values: Array) -> tuple[float | None, ...]:
    return tuple(round(float(v), 4) if np.isfinite(v) else None for v in values)
