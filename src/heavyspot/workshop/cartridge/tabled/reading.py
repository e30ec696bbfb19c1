"""A table as curves: in g, zero to peak, its angles as ours where the rig's sense is known."""

from __future__ import annotations

import numpy as np

from ....balance.angle_sense import as_ours
from ....quantities.angles import phasor
from ....quantities.arrays import Array
from ....quantities.finding import Finding, finding_of
from ....signal.chain import corrected
from ....signal.curve import Curve
from ....sources.curve_table import CurveTable
from ...model import ModelFile
from ...reading import ReadResult, reached_findings
from ...rig import AnglesRecord, Measuring, RigRecord, parse_rig
from ..story import KeptRun

SHOWN_SHARE = 0.02
"""Standard uncertainty of an amplitude that a rig by others shows, beside its last figure: how it averages and
follows the speed is not known (stated)."""

SHOWN_DEG = 2.0
"""The same of an angle (stated)."""

DENSE_SHARE = 0.03
"""Of test speed: a table whose speeds stand no farther apart shows a resonance's shape (ours)."""


def read_table(table: CurveTable, angles: AnglesRecord | None, measuring: Measuring) -> ReadResult:
    """Return what a table says.

    Parameters
    ----------
    angles : AnglesRecord or None
        How its rig counts angles; None where no check has told: the amplitudes alone are then taken.
    """
    chains = tuple(measuring.chain_of(i, name) for i, name in enumerate(table.sensors))
    curves = tuple(
        corrected(_curve(table, p, angles), chains, measuring.pickup) for p in _passes(table)
    )
    return ReadResult(
        curves=curves,
        findings=(_what_it_is(table), *_of_angles(table, angles)),
        channels=table.sensors,
        highest_rpm=max(table.speed_rpm),
        lags_deg=(_lag(table, angles),),
    )


def _lag(table: CurveTable, angles: AnglesRecord | None) -> float | None:
    """Return the turn from pickup to sensor, which tells something only where the angles' zero is known."""
    if table.angle_deg is None or angles is None or angles.zero_deg is None:
        return None
    return angles.sensor_lag_deg


def _passes(table: CurveTable) -> list[tuple[tuple[int, ...], bool]]:
    """Return the rows of each pass and whether it goes up; the longest first."""
    passes = [(rows, i == 0) for i, rows in enumerate(table.passes())]
    return sorted(passes, key=lambda p: -len(p[0]))


def _curve(
    table: CurveTable, of: tuple[tuple[int, ...], bool], angles: AnglesRecord | None
) -> Curve:
    rows, up = of
    at = list(rows)
    amplitude = np.array(table.amplitude)[:, at] * table.in_g
    noise = np.hypot(SHOWN_SHARE * amplitude, table.step * table.in_g / np.sqrt(12))
    unknown = np.full(amplitude.shape, np.nan)
    if table.angle_deg is None or angles is None:
        vector, turn = amplitude.astype(complex), np.full(amplitude.shape, np.inf)
    else:
        shown = np.array(table.angle_deg)[:, at]
        vector = phasor(amplitude, as_ours(shown, angles.sense, angles.zero_deg or 0.0))
        deg = np.hypot(SHOWN_DEG, table.angle_step_deg / np.sqrt(12))
        turn = np.full(amplitude.shape, np.deg2rad(deg))
    return Curve(
        direction="up" if up else "down",
        speed_rpm=np.array(table.speed_rpm)[at],
        time_s=np.full(len(at), np.nan),
        vector=vector,
        noise=noise,
        overall_rms=unknown,
        twice=unknown,
        thrice=unknown,
        half=unknown,
        angle_noise=turn,
    )


def widest_rpm(speed_rpm: Array) -> float:
    """Return how far two neighbours of a table's speeds stand apart at most; 0 for one alone."""
    return float(np.diff(np.sort(speed_rpm)).max(initial=0.0))


def _what_it_is(table: CurveTable) -> Finding:
    rows, widest = len(table.speed_rpm), widest_rpm(np.array(table.speed_rpm))
    if rows == 1:
        at = table.speed_rpm[0]
        return finding_of(
            "table.peak_alone",
            "note",
            f"The run is one value alone, at {at:,.0f} rpm: no samples, and no other speed.",
            {"speed_rpm": at},
        )
    return finding_of(
        "table.read",
        "note",
        f"The run is a table of {rows} speeds, up to {widest:,.0f} rpm apart: no samples. Between the speeds, "
        "and of sensor, mark and other frequencies, nothing was measured.",
        {"rows": float(rows), "widest_rpm": widest},
    )


def _of_angles(table: CurveTable, angles: AnglesRecord | None) -> list[Finding]:
    if table.angle_deg is None:
        return [
            finding_of(
                "table.no_angle",
                "warn",
                "The table has no angles: the amplitudes are judged, and no cut follows from one run.",
            )
        ]
    if angles is None:
        return [
            finding_of(
                "table.sense_unknown",
                "warn",
                "Which way this rig counts its angles is not known: the amplitudes are judged, and no cut is "
                "computed from the angles.",
            )
        ]
    return []


def findings_of(read: ReadResult, model: ModelFile) -> list[Finding]:
    """Return what a table's run says beside its model."""
    return [*read.findings, *reached_findings(read, model)]


def is_dense(read: ReadResult, model: ModelFile) -> bool:
    """Whether a table's speeds stand near enough together for its responses to be other units'."""
    main = read.curve
    return main is not None and widest_rpm(main.speed_rpm) <= DENSE_SHARE * model.test_speed_rpm


def zero_deg_of(run: KeptRun) -> float | None:
    """Return our angle of the zero of a run's rig, as it was known then; None where it was not."""
    rig: RigRecord = parse_rig(run.entry.rig or "the run's rig", dict(run.conditions.rig))
    return rig.angles.zero_deg if rig.angles is not None else None
