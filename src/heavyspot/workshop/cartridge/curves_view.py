"""All of a piece's runs on one speed axis, ready to draw."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from ...balance.limits import Limit
from ...quantities.angles import angle_of, difference_deg
from ...quantities.arrays import Array
from ...sheet.drawn import (
    CurvesView,
    DrawnPrediction,
    DrawnRun,
    DrawnSensor,
    DrawnTier,
    PathPoint,
)
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
        predicted=_drawn(speed, last, sensor) if last and as_advised(story) else None,
        sensor=sensor,
        others=tuple(
            DrawnSensor(s, _values(model.house_limit(s).at(speed)), _amplitude(last, s, speed))
            for s in last.sensors
            if sensor and s != sensor
        )
        if last
        else (),
        tiers=tuple(
            DrawnTier(t.name, _values(t.at(speed)), _under(t, last, sensor, model.from_rpm))
            for t in model.tiers()
        ),
    )


@dataclass(frozen=True)
class Foretold:
    """The next run's highest as it was expected, g: likely, and at worst (95 of 100 stay under it).

    `worst_ratio` is of the limit at the speed where it is largest, `now_ratio` what the last run has.
    """

    likely_g: float
    worst_g: float
    worst_ratio: float
    now_ratio: float


def expected_run(story: CartridgeStory) -> KeptPrediction | None:
    """Return the coming run as the last advice expects it; None where it expects nothing, or no more."""
    last = story.last
    made = story.made_after(story.number)
    return last.result.advice.predicted if last and made and as_advised(story) else None


def foretold(story: CartridgeStory) -> Foretold | None:
    """Return what the last advice expects of the next run; None where it expects nothing, or no more."""
    last = story.last
    predicted = last.result.advice.predicted if last else None
    if last is None or predicted is None or not as_advised(story):
        return None
    speed = np.array(predicted.speed_rpm)
    likely, high = (np.array(v, float) for v in (predicted.amplitude_g, predicted.high_g))
    if not np.isfinite(likely).any() or not np.isfinite(high).any():
        return None
    ratio = high / story.model.house_limit(last.result.sensor).at(speed)
    worst = int(np.nanargmax(ratio))
    now = last.result.worst
    return Foretold(
        float(np.nanmax(likely)), float(high[worst]), float(ratio[worst]), now.ratio if now else 0.0
    )


SAME_DEG, SAME_SHARE = 1.0, 0.02
"""A cut within this of what was advised is the advised one: rounding on the way."""


def as_advised(story: CartridgeStory) -> bool:
    """Whether what was ground since the last run, if anything, is what was advised, all of it and no more."""
    last = story.last
    made = story.made_after(story.number)
    if last is None or not made:
        return True
    wanted = list(last.result.advice.wanted)
    if len(made) != len(wanted):
        return False
    for cut in made:
        same = next(
            (
                w
                for w in wanted
                if w.plane == cut.plane
                and abs(difference_deg(w.angle_deg, cut.angle_deg)) <= SAME_DEG
                and abs(w.depth_mm - cut.depth_mm) <= SAME_SHARE * w.depth_mm
            ),
            None,
        )
        if same is None:
            return False
        wanted.remove(same)
    return True


def _under(tier: Limit, last: PastRun | None, sensor: str, from_rpm: float) -> bool:
    if last is None:
        return False
    for curve in last.curves_of(sensor):
        counts = curve.speed_rpm >= from_rpm
        if (np.abs(curve.vector[0]) > tier.at(curve.speed_rpm))[counts].any():
            return False
    return True


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
        if not r.curves[0].has_angle:  # it stands somewhere on a circle, nobody knows where
            continue
        vector = complex(vector_at(r.curves[0], speed, r.place(sensor))[0])
        share = abs(vector) / (2 * float(limit.at(speed)[0]))
        out.append(PathPoint(r.number, float(angle_of(vector)), share))
    return tuple(out)


def _on(speed: Array, x: Array, y: Array) -> tuple[float | None, ...]:
    return _values(np.interp(speed, x, y, left=np.nan, right=np.nan))


def _values(values: Array) -> tuple[float | None, ...]:
    return tuple(round(float(v), 4) if np.isfinite(v) else None for v in values)
