"""A run as a table: amplitude, and angle where the rig gives one, at some speeds; no samples.

It is kept as a text of its own (``.curve``), exactly as it was stated: unit, measure and the rig's own angles.
"""

from __future__ import annotations

import csv
import io
import math
from dataclasses import dataclass, fields
from itertools import pairwise
from pathlib import Path
from typing import Literal, get_args

from ..quantities.checks import one_line
from ..quantities.clock import time_of
from ..quantities.durable import write_text
from ..quantities.errors import BadInput, UnreadableFile
from ..quantities.units import ACCELERATION_IN_G

Unit = Literal["g", "m/s²"]
Measure = Literal["peak", "rms", "peak_to_peak"]

ENDING = ".curve"
"""What the name of a kept table ends in."""

PEAK_OF: dict[Measure, float] = {"peak": 1.0, "rms": math.sqrt(2.0), "peak_to_peak": 0.5}
"""Zero-to-peak of a sine that reads 1."""

MOST_ROWS = 5000
LOWEST_RPM, HIGHEST_RPM = 60.0, 1_000_000.0
HIGHEST_G = 1000.0
"""More than that is no reading of a housing: a unit was taken for another."""

_FIRST = "heavyspot curve 1"

Row = tuple[float, ...]


@dataclass(frozen=True)
class CurveTable:
    """A run as its rig showed it.

    Attributes
    ----------
    speed_rpm : tuple of float, n
        In the order given: up, down, or up and down again.
    amplitude : tuple of tuple of float, sensors x n
        Of the once-per-turn vibration, in `unit` and `measure`.
    unit : "g" or "m/s²"
    measure : "peak" (zero to peak), "rms" or "peak_to_peak"
    angle_deg : tuple of tuple of float, sensors x n, or None
        As the rig counts; None where it shows none.
    sensors : tuple of str
    step : float
        Last figure of the amplitudes, in their unit; 0 where it is not known.
    angle_step_deg : float
    rig, operator, recorded_at, note : str
        `note` holds the lines of the file that are none of the table's.
    """

    speed_rpm: Row
    amplitude: tuple[Row, ...]
    unit: Unit
    measure: Measure
    angle_deg: tuple[Row, ...] | None = None
    sensors: tuple[str, ...] = ("housing",)
    step: float = 0.0
    angle_step_deg: float = 0.0
    rig: str = ""
    operator: str = ""
    recorded_at: str = ""
    note: str = ""

    def __post_init__(self) -> None:
        if self.unit not in get_args(Unit) or self.measure not in get_args(Measure):
            raise BadInput(
                f"The table's amplitudes are {self.measure!r} in {self.unit!r}.",
                remedy="State g or m/s², and peak (zero to peak), rms or peak_to_peak.",
            )
        _checked_size(self)
        _checked_time(self.recorded_at)
        for what, word in (("rig", self.rig), ("operator", self.operator)):
            one_line(what, word, most=120)
        for name in self.sensors:
            one_line("sensor", name, most=120)
        for i, rpm in enumerate(self.speed_rpm):
            self._check_speed(i, rpm)
        for row in self.amplitude:
            for i, value in enumerate(row):
                self._check_amplitude(i, value)
        for row in self.angle_deg or ():
            for i, value in enumerate(row):
                self._check_angle(i, value)

    def _check_speed(self, i: int, rpm: float) -> None:
        if not LOWEST_RPM <= rpm <= HIGHEST_RPM:
            raise BadInput(
                f"Row {i + 1}: a speed of {rpm:g} rpm.",
                remedy=f"Speeds are from {LOWEST_RPM:g} to {HIGHEST_RPM:,.0f} rpm; look at the unit.",
            )

    def _check_amplitude(self, i: int, value: float) -> None:
        most = HIGHEST_G / self.in_g
        if not 0 <= value <= most:
            raise BadInput(
                f"Row {i + 1}, at {self.speed_rpm[i]:,.0f} rpm: an amplitude of {value:g} {self.unit}.",
                remedy=f"Amplitudes are from 0 to {most:,.0f} {self.unit}; look at the unit.",
            )

    def _check_angle(self, i: int, value: float) -> None:
        if not -360 <= value <= 360:
            raise BadInput(
                f"Row {i + 1}, at {self.speed_rpm[i]:,.0f} rpm: an angle of {value:g} degrees.",
                remedy="Angles are from -360 to 360 degrees; leave them out where the rig gives none.",
            )

    @property
    def in_g(self) -> float:
        """What an amplitude has to be multiplied by to be g, zero to peak."""
        return ACCELERATION_IN_G[self.unit] * PEAK_OF[self.measure]

    def passes(self) -> tuple[tuple[int, ...], ...]:
        """Return the places of the rows of each pass, speeds ascending; up and down are two, any other order one.

        Raises
        ------
        BadInput
            A speed stands twice in a pass.
        """
        speeds = self.speed_rpm
        top = max(range(len(speeds)), key=lambda i: speeds[i])
        up, down = list(range(top + 1)), list(range(top + 1, len(speeds)))
        if len(down) < 2 or not (_rises(speeds, up) and _rises(speeds, down[::-1])):
            up, down = sorted(range(len(speeds)), key=lambda i: speeds[i]), []
        for a, b in pairwise(up):
            if speeds[a] == speeds[b]:
                raise BadInput(
                    f"{speeds[a]:,.0f} rpm stands twice in the table.",
                    remedy="Leave one of the two rows out, or bring them as two runs.",
                )
        return tuple(tuple(p) for p in (up, down[::-1]) if p)

    def as_text(self) -> str:
        """Return the table as its kept text; `table_from_text` gives it back, number by number."""
        out = io.StringIO()
        write = csv.writer(out, lineterminator="\n").writerow
        write([_FIRST])
        for name in _FACTS:
            write([name, getattr(self, name)])
        write(["sensors", *self.sensors])
        angles = self.angle_deg or ()
        write(["speed_rpm", *("amplitude" for _ in self.amplitude), *("angle_deg" for _ in angles)])
        for row in zip(self.speed_rpm, *self.amplitude, *angles, strict=True):
            write([repr(float(v)) for v in row])
        return out.getvalue()


_FACTS = ("unit", "measure", "step", "angle_step_deg", "rig", "operator", "recorded_at", "note")
_NUMBERS = {"step", "angle_step_deg"}
assert {f.name for f in fields(CurveTable)} > set(_FACTS)


def _rises(speeds: Row, places: list[int]) -> bool:
    return all(speeds[a] < speeds[b] for a, b in pairwise(places))


def _checked_size(table: CurveTable) -> None:
    n, sensors = len(table.speed_rpm), len(table.sensors)
    if not 1 <= n <= MOST_ROWS:
        raise BadInput(
            f"The table has {n} rows.",
            remedy=f"From 1, a peak alone, to {MOST_ROWS} rows are read.",
        )
    columns = (table.amplitude, *((table.angle_deg,) if table.angle_deg is not None else ()))
    if any(len(c) != sensors or any(len(row) != n for row in c) for c in columns):
        raise BadInput(
            "Speeds, amplitudes and angles of the table are not equally many.",
            remedy="Give each sensor one amplitude for each speed, and one angle or none at all.",
        )
    if not sensors or len(set(table.sensors)) < sensors or not all(table.sensors):
        raise BadInput(
            "The table's sensors have no names of their own.", remedy="Name each one once."
        )


def _checked_time(text: str) -> None:
    try:
        if text:
            time_of(text)
    except ValueError:
        raise BadInput(
            f"The table was recorded at {text!r}, no time.", remedy="Give it like 2026-11-27 09:30."
        ) from None


def peak_alone(
    amplitude: float,
    at_rpm: float,
    *,
    unit: Unit = "g",
    measure: Measure = "peak",
    step: float = 0.0,
    rig: str = "",
    operator: str = "",
) -> CurveTable:
    """Return the table of a rig that shows only its worst value, and the speed of it."""
    return CurveTable(
        (at_rpm,), ((amplitude,),), unit, measure, step=step, rig=rig, operator=operator
    )


def write_table(table: CurveTable, path: Path) -> None:
    """Write a table's kept text, so that it survives a power cut."""
    write_text(path, table.as_text())


def read_table(path: Path) -> CurveTable:
    """Return a kept table; raises `UnreadableFile` where it is none."""
    return table_from_text(path.read_text(encoding="utf-8"), name=path.name)


def is_kept_table(text: str) -> bool:
    """Whether a text is a kept table."""
    return text.startswith(_FIRST)


def table_from_text(text: str, *, name: str = "the table") -> CurveTable:
    """Return the table of a kept text; raises `UnreadableFile` where it is none."""
    try:
        rows = list(csv.reader(io.StringIO(text, newline="")))
        facts = {r[0]: r[1:] for r in rows[1 : len(_FACTS) + 2] if r}
        if rows[0] != [_FIRST]:
            raise ValueError(rows[0])
        sensors = tuple(facts.pop("sensors"))
        said = {k: float(v[0]) if k in _NUMBERS else v[0] for k, v in facts.items()}
        head, *body = rows[len(_FACTS) + 2 :]
        columns = list(zip(*([float(v) for v in r] for r in body), strict=True))
        n = len(sensors)
        angles = tuple(columns[n + 1 :]) if len(head) > n + 1 else None
        return CurveTable(
            columns[0],
            tuple(columns[1 : n + 1]),
            angle_deg=angles,
            sensors=sensors,
            **said,  # type: ignore[arg-type]  # checked when it is made
        )
    except (ValueError, IndexError, KeyError, TypeError, csv.Error) as fault:
        raise UnreadableFile(
            f"{name} is no table that was kept ({fault}).", remedy="Restore it from a backup."
        ) from None
