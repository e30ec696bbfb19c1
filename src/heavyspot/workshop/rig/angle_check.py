"""How a rig that shows angles itself counts them, found once by a check and kept on the rig's record."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from itertools import pairwise

import numpy as np

from ...balance.angle_sense import SenseFound, sense_from_moved_mark, sense_from_two_cuts
from ...quantities.angles import phasor
from ...quantities.arrays import Array
from ...quantities.clock import now
from ...quantities.errors import BadInput
from ...sources.curve_table import CurveTable
from ..shop import Workshop
from .record import AnglesRecord, add_rig, known_rig

PLACED_DEG = 3.0
"""Standard uncertainty of a mark's or a cut's place by hand and eye (common practice, no source)."""

REPEAT_DEG, REPEAT_SHARE = 2.0, 0.025
"""How well a piece's vector repeats (common practice, no source)."""

NEAR_SHARE = 0.005
"""Of the highest speed: within it two tables' speeds are the same one."""

STEPS = (
    "Take a piece that vibrates clearly, above 0.1 g, and let it run warm.",
    "Spin it and write the rig's table: speed, amplitude and the angle as the rig shows it.",
    "Move the mark on the nut by about 90 degrees (60 to 120) against rotation, and nothing else.",
    "Spin again and write the table at the same speeds.",
    "Put the mark back where it was: the piece's cuts are counted from it.",
)


@dataclass(frozen=True)
class TrialCut:
    """A cut of the check: where, against rotation from the mark, and how much (g·mm)."""

    angle_deg: float
    amount: float


def check_moved_mark(
    before: CurveTable, after: CurveTable, moved_deg: float, *, forward: bool = False
) -> SenseFound:
    """Return which way a rig counts, from two tables of one piece between which only its mark was moved.

    Parameters
    ----------
    moved_deg : float
        By how much, against rotation; with rotation where `forward`.

    Raises
    ------
    BadInput
        A table has no angles, they share no two speeds, or what they show does not tell.
    """
    one, two = _vectors((before, after))
    uncertainty = float(np.hypot(PLACED_DEG, np.sqrt(2) * REPEAT_DEG))
    turned = -moved_deg if forward else moved_deg
    return sense_from_moved_mark(one, two, turned, uncertainty_deg=uncertainty)


def check_two_cuts(tables: Sequence[CurveTable], cuts: tuple[TrialCut, TrialCut]) -> SenseFound:
    """Return the same from three tables: as found, and after each of two cuts in one plane; raises likewise."""
    v = _vectors(tables)
    doubt = np.hypot(REPEAT_SHARE, np.deg2rad(REPEAT_DEG)) * np.sqrt((np.abs(v) ** 2).mean())
    sizes = [np.sqrt((np.abs(a - b) ** 2).mean()) for a, b in pairwise(v)]
    if min(sizes) <= 0:
        raise BadInput("A cut changed nothing that the tables show.", remedy="Make it larger.")
    effects = [np.rad2deg(doubt * np.sqrt(2) / s) for s in sizes]
    uncertainty = float(np.sqrt(2 * PLACED_DEG**2 + sum(e**2 for e in effects)))
    removed = tuple(complex(phasor(c.amount, c.angle_deg)) for c in cuts)
    return sense_from_two_cuts(v, (removed[0], removed[1]), uncertainty_deg=uncertainty)


def keep_angles(
    shop: Workshop,
    rig: str,
    found: SenseFound,
    *,
    by_cuts: bool = False,
    zero_deg: float | None = None,
    sensor_lag_deg: float | None = None,
    by: str = "",
) -> AnglesRecord:
    """Write what a check found on a rig's record; what else stands there stays.

    Parameters
    ----------
    zero_deg : float, optional
        Our angle of the rig's zero: 0 where it is the mark. Without it a piece is balanced by its own runs alone.
    sensor_lag_deg : float, optional
        How far the rotor turns from pickup to sensor.
    """
    record = known_rig(shop, rig)
    angles = AnglesRecord(
        sense=found.sense,
        zero_deg=None if zero_deg is None else zero_deg % 360.0,
        sensor_lag_deg=None if sensor_lag_deg is None else sensor_lag_deg % 360.0,
        checked_at=now().date().isoformat(),
        how="two cuts" if by_cuts else "moved mark",
    )
    keys = record.model_copy(update={"angles": angles})
    add_rig(shop, rig, keys.model_dump(mode="json", exclude_defaults=True), by=by)
    return angles


def _vectors(tables: Sequence[CurveTable]) -> Array:
    """Return the first sensor's vectors, (tables, n), at the speeds all tables have, by the rig's own angles."""
    parts = []
    for i, table in enumerate(tables, start=1):
        if table.angle_deg is None:
            raise BadInput(f"Table {i} has no angles.", remedy="Take them as the rig shows them.")
        rows = list(table.passes()[0])
        amplitude = np.array(table.amplitude[0])[rows] * table.in_g
        v = phasor(amplitude, np.array(table.angle_deg[0])[rows])
        parts.append((np.array(table.speed_rpm)[rows], v))
    speeds = parts[0][0]
    near = NEAR_SHARE * float(speeds.max())
    shared = [s for s in speeds if all(np.abs(at - s).min() <= near for at, _ in parts)]
    if len(shared) < 2:
        raise BadInput(
            "The tables share fewer than two speeds.", remedy="Write each at the same speeds."
        )
    return np.stack([[v[np.argmin(np.abs(at - s))] for s in shared] for at, v in parts])
