"""A piece's earlier runs, as arrays again; and its responses, kept for the units to come."""

from __future__ import annotations

from collections.abc import Container, Sequence
from dataclasses import dataclass
from typing import Any

import numpy as np

from ...balance.cut.history import History, MadeCut
from ...ledger.records import Cut
from ...ledger.store.array_bytes import pack, unpack
from ...quantities.angles import phasor
from ...quantities.arrays import Array
from ...signal.curve import Curve
from ..model import ModelFile
from ..reading import KeptResult
from ..rig import AnglesRecord, known_rig, parse_rig
from ..shop import Workshop
from .story import CartridgeStory, KeptRun

GRID_SHARES = np.linspace(0.10, 1.0, 91)
"""Speeds of the advice, as shares of test speed: every 1 %."""

SAME_SPEED = 0.005
"""Share of test speed within which speeds of two tables are the same one: a steady hand holds it (ours)."""

LEAST_OF_TABLE = 3
"""Speeds that the tables of a piece's runs must share to be compared."""

UNTRUSTED = ("sensor.", "reference.", "recording.rate", "speed.not_followed")
"""Codes of blocking findings after which a vector is not the rotor's, and no later run is compared with it."""

ANGLE_HOLDS = ("sensor.clipped", "sensor.level")
"""Blocking findings after which the size of a vector is not the rotor's, but its angle is."""

COMPARED = {"reference.reversed"}
"""Findings that come from comparing runs: the run after them must see both."""

LEARN_SPREAD = 0.45
"""A response is kept for others when it is known to better than this share."""


@dataclass(frozen=True)
class PastRun:
    """One run of the ledger with its curves."""

    run: KeptRun
    curves: tuple[Curve, ...]

    @property
    def sensors(self) -> tuple[str, ...]:
        """Names of the sensors, in the order of the curves' channels."""
        return self.run.conditions.sensors

    def place(self, sensor: str = "") -> int:
        """Return the place of a sensor, 0 for the first; of the one that decided when none is named."""
        name = sensor or self.run.result.sensor
        return self.sensors.index(name) if name in self.sensors else 0

    def curves_of(self, sensor: str = "") -> tuple[Curve, ...]:
        """Return the curves of one sensor alone; of the one that decided when none is named."""
        place = self.place(sensor)
        return tuple(c.of_channel(place) for c in self.curves)

    @property
    def number(self) -> int:
        """1 for the first run of the piece."""
        return self.run.number


def pack_curves(curves: tuple[Curve, ...]) -> bytes:
    """Return curves as bytes for the ledger."""
    arrays: dict[str, Array] = {}
    for i, c in enumerate(curves):
        for name in (
            "speed_rpm", "time_s", "vector", "noise", "overall_rms", "twice", "thrice", "half",
            "angle_noise",
        ):  # fmt: skip
            arrays[f"{i}.{c.direction}.{name}"] = getattr(c, name)
    return pack(arrays)


def unpack_curves(data: bytes) -> tuple[Curve, ...]:
    """Return the curves that `pack_curves` stored, in order."""
    by_curve: dict[tuple[int, str], dict[str, Any]] = {}
    for key, values in unpack(data).items():
        number, direction, name = key.split(".")
        by_curve.setdefault((int(number), direction), {})[name] = values
    for fields in by_curve.values():  # runs from before it was told apart have none
        fields.setdefault("angle_noise", np.zeros(fields["noise"].shape))
    return tuple(
        Curve(direction=direction, **fields)  # type: ignore[arg-type]  # "up" or "down" as stored
        for (_, direction), fields in sorted(by_curve.items())
    )


def trusted_curves(
    shop: Workshop, story: CartridgeStory, *, but: tuple[str, ...] = ()
) -> list[SensedCurve]:
    """Return the main curve of each of a piece's runs whose vectors can be trusted, `but` for these findings."""
    past = [
        p
        for p in past_runs(shop, story)
        if p.curves and p.curves[0].has_angle and trusted_vectors(p.run.result, but=but)
    ]
    return [SensedCurve(p.number, p.curves[0], p.sensors, frame_of(shop, p)) for p in past]


def frame_of(shop: Workshop, past: PastRun) -> str:
    """Return what a run's angles are counted from: nothing for ours; a rig's own where its zero is not known.

    A table that was read by another way of counting than its rig's record now says stands for itself alone: one of
    the two is a mirror of the other.
    """
    if not past.curves or not past.curves[0].is_table:
        return ""
    rig = past.run.entry.rig
    then = parse_rig(rig or "the run's rig", dict(past.run.conditions.rig)).angles
    now = known_rig(shop, rig).angles
    if then is None or now is None or (then.sense, then.zero_deg) != (now.sense, now.zero_deg):
        return f"run {past.number}"
    return table_frame(rig, then)


def table_frame(rig: str, angles: AnglesRecord | None) -> str:
    """Return the frame of a table that is read by its rig's record, as `frame_of`."""
    known = angles is not None and angles.zero_deg is not None
    return "" if known else f"zero of {rig}"


def past_runs(shop: Workshop, story: CartridgeStory) -> list[PastRun]:
    """Return a piece's runs with their curves, in order."""
    curves = shop.book.cartridges.curves(story.piece.id) if story.runs else {}
    return [PastRun(r, unpack_curves(curves[r.number])) for r in story.runs]


@dataclass(frozen=True)
class SensedCurve:
    """The main curve of a run, the names of its sensors in the order of its channels, its angles' frame."""

    number: int
    curve: Curve
    sensors: tuple[str, ...]
    frame: str = ""

    def vector_at(self, speed_rpm: Array, sensors: Sequence[str]) -> Array:
        """Return the vectors at other speeds, one sensor after the other."""
        return np.concatenate([vector_at(self.curve, speed_rpm, self._place(s)) for s in sensors])

    def noise_at(self, speed_rpm: Array, sensors: Sequence[str]) -> Array:
        """Return the noise of each component likewise; the angle's is shared between the two."""
        c = self.curve
        rows = (
            np.hypot(c.noise[k], np.abs(c.vector[k]) * c.angle_noise[k] / np.sqrt(2.0))
            for k in map(self._place, sensors)
        )
        return np.concatenate([np.interp(speed_rpm, c.speed_rpm, row) for row in rows])

    def _place(self, sensor: str) -> int:
        return self.sensors.index(sensor) if sensor in self.sensors else 0


def comparable(curves: Sequence[SensedCurve]) -> tuple[list[SensedCurve], tuple[str, ...]]:
    """Return the runs that share a sensor with the last one, and the sensors that all of them have.

    Where both have only one it is the same, whatever it was called.
    """
    last = curves[-1]
    alone = len(last.sensors) == 1
    kept = [
        c for c in curves if set(c.sensors) & set(last.sensors) or (alone and len(c.sensors) == 1)
    ]
    common = tuple(s for s in last.sensors if all(s in c.sensors for c in kept))
    if not common and not alone:  # each shares another one: the last alone can be told of
        return [last], last.sensors
    return kept, common or last.sensors


def history_of(
    curves: Sequence[SensedCurve],
    cuts: Sequence[Cut],
    model: ModelFile,
    *,
    looked: Container[str] = (),
    knowingly: Container[str] = (),
    least: int = LEAST_OF_TABLE,
) -> History | None:
    """Return the runs that can be compared with the last one, on the advice's speeds of all common sensors.

    Parameters
    ----------
    curves : sequence of SensedCurve
        Of each run that has one, in order.
    cuts : sequence of Cut
        Cuts made; ``after_run`` says which run they follow.
    looked, knowingly : container of str
        Identifiers of those that somebody looked at since, and in spite of which the work goes on.
    least : int
        Speeds that tables must share.
    """
    if not curves:
        return None
    kept, sensors = comparable([c for c in curves if c.frame == curves[-1].frame])
    grid = _grid(kept, model)
    if grid.size < (least if any(c.curve.is_table for c in kept) else 5):
        return None
    step = float(np.diff(GRID_SHARES).min()) * model.test_speed_rpm
    kept = [
        c
        for c in kept
        if c.curve.speed_rpm[0] <= grid[0] + 2 * step
        and c.curve.speed_rpm[-1] >= grid[-1] - 2 * step
    ]
    numbers = [c.number for c in kept]
    made = []
    for cut in cuts:
        later = [i for i, n in enumerate(numbers) if n > cut.after_run]
        if later and later[0] > 0:
            removed = complex(phasor(cut.unbalance_gmm, cut.angle_deg))
            seen, let = cut.id in looked, cut.id in knowingly
            made.append(MadeCut(later[0], cut.plane, removed, looked=seen, knowingly=let))
    return History(
        np.tile(grid, len(sensors)),
        np.stack([c.vector_at(grid, sensors) for c in kept]),
        np.stack([c.noise_at(grid, sensors) for c in kept]),
        tuple(made),
        np.repeat(np.arange(len(sensors)), grid.size),
        sensors,
    )


def _grid(kept: Sequence[SensedCurve], model: ModelFile) -> Array:
    """Return the speeds at which runs are compared: every 1 % of test speed, or those that all tables have.

    A straight line between two speeds of a table would be taken for a measurement.
    """
    last = kept[-1].curve
    tables = [c.curve for c in kept if c.curve.is_table]
    grid = tables[-1].speed_rpm if tables else GRID_SHARES * model.test_speed_rpm
    low = max(model.from_rpm, float(last.speed_rpm[0]))
    high = min(model.test_speed_rpm * 1.0001, float(last.speed_rpm[-1]))
    grid = grid[(grid >= low - 1.0) & (grid <= high + 1.0)]
    near = SAME_SPEED * model.test_speed_rpm
    for table in tables[:-1]:
        off = np.abs(grid[:, None] - table.speed_rpm).min(axis=1)
        grid = grid[off <= near]
    return np.asarray(grid)


def trusted_vectors(result: KeptResult, *, but: tuple[str, ...] = ()) -> bool:
    """Whether a run's vectors are the rotor's: no finding on sensor or reference stands against them."""
    if result.overruled:
        return True
    exempt = {*COMPARED, *but}
    return not any(f.code.startswith(UNTRUSTED) and f.code not in exempt for f in result.blocking)


def vector_at(curve: Curve, speed_rpm: Array, sensor: int = 0) -> Array:
    """Return a channel's vector at other speeds, by straight lines."""
    v = curve.vector[sensor]
    return np.asarray(
        np.interp(speed_rpm, curve.speed_rpm, v.real)
        + 1j * np.interp(speed_rpm, curve.speed_rpm, v.imag)
    )
