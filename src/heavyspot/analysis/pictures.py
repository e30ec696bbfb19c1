"""Pictures by matplotlib, where it is installed."""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

from .frames import library

if TYPE_CHECKING:
    from matplotlib.axes import Axes

    from .run import Run
    from .speed_curve import SpeedCurve


def draw_curve(curve: SpeedCurve, ax: Axes | None, line: dict[str, Any]) -> Axes:
    """Draw a curve; raises `NotInstalled`."""
    ax = ax or _new_axes()
    name = f"{curve.sensor} {curve.direction}".strip()
    ax.plot(curve.speed_rpm, curve.amplitude, **{"label": name} | line)
    if curve.simulated:
        ax.set_title("simulated: no measurement")
    return ax


def draw_run(run: Run, ax: Axes | None, line: dict[str, Any]) -> Axes:
    """Draw a run's passes, and its limit where the worst point was judged; raises `NotInstalled`."""
    ax = ax or _new_axes()
    for curve in run.curves:
        draw_curve(curve, ax, line)
    if run.limit_g is not None and run.worst_speed_rpm is not None:
        ax.plot(
            [run.worst_speed_rpm], [run.limit_g], "_", ms=18, color="black", label="limit there"
        )
    made_up = ", simulated: no measurement" if run.simulated else ""
    verdict = f", {run.verdict}" if run.verdict else ""
    number = f", run {run.number}" if run.number else ""
    ax.set_title(f"{run.of}{number}{verdict}{made_up}")
    if run.curves:
        ax.legend()
    return ax


def _new_axes() -> Axes:
    made: Axes = library("matplotlib.pyplot", "plot").subplots()[1]
    made.set_xlabel("speed, rpm")
    made.set_ylabel("once per turn, g zero-to-peak")
    made.grid(True, alpha=0.3)
    return made
