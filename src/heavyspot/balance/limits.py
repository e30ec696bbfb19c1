"""Limits over speed and the verdict on a run."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, replace
from typing import Literal

import numpy as np
from numpy.typing import ArrayLike, NDArray

from ..quantities.errors import BadInput
from ..quantities.said import Said
from .budget import Part, factor
from .uncertainty import COVERAGE_K, combined

Verdict = Literal["pass", "fail", "undecided"]

PASS_K = 3.0
"""A pass at the high-speed rig keeps clear of the limit by so many standard uncertainties: a piece
exactly at its limit then passes about once in 700 spins."""


USUAL_HOLE = 0.02
"""Share of test speed up to which a stretch between two measured speeds counts as measured."""


REACHED = 0.998
"""Share of test speed that is test speed: what a steady hand and a good regulator hold."""


FIRST_RUN_LOW = 0.25
"""Share by which the first run of a piece may lie under the ones that follow: oil, housing and seats are as it came
(a stated choice; rigs that share nothing with ours show 15 to 30 %)."""


@dataclass(frozen=True)
class Limit:
    """The highest allowed once-per-turn amplitude over speed: straight lines between points.

    Attributes
    ----------
    name : str
        ``house`` for the one that decides; others are further tiers.
    speed_rpm, limit_g : tuple of float
        Points, speeds ascending; constant before the first and after the last.
    """

    name: str
    speed_rpm: tuple[float, ...]
    limit_g: tuple[float, ...]

    def __post_init__(self) -> None:
        if len(self.speed_rpm) != len(self.limit_g) or not self.speed_rpm:
            raise BadInput(
                f'Limit "{self.name}" has {len(self.speed_rpm)} speeds and {len(self.limit_g)} values.',
                remedy="Give one value for each speed.",
            )
        if any(b <= a for a, b in zip(self.speed_rpm, self.speed_rpm[1:], strict=False)):
            raise BadInput(f'Limit "{self.name}": speeds do not ascend.', remedy="Sort the points.")
        if not all(np.isfinite(g) and g > 0 for g in self.limit_g):
            raise BadInput(
                f'Limit "{self.name}" has a value <= 0.', remedy="Give limits above 0 g."
            )

    def at(self, speed_rpm: ArrayLike) -> NDArray[np.float64]:
        """Return the limit, g, at each speed.

        >>> Limit("house", (50_000, 100_000), (0.4, 0.5)).at([0, 75_000]).tolist()
        [0.4, 0.45]
        """
        return np.interp(np.asarray(speed_rpm, float), self.speed_rpm, self.limit_g)


@dataclass(frozen=True)
class Worst:
    """The speed at which a curve is nearest to, or most over, its limit."""

    speed_rpm: float
    amplitude_g: float
    uncertainty_g: float
    limit_g: float
    ratio: float


@dataclass(frozen=True)
class SensorVerdict:
    """What one of several sensors says."""

    sensor: str
    verdict: Verdict
    worst: Worst


@dataclass(frozen=True)
class Judgement:
    """A verdict with its reasons.

    Attributes
    ----------
    verdict : "pass", "fail" or "undecided"
    margin : float
        ``1 - amplitude / limit`` at the worst speed: share of the limit still free; negative over it.
    worst : Worst
    covered : float
        Share of the speed range in which there is a measured point.
    reason : Said
    measured : str or None
        What the curve alone would say, where a finding made the verdict undecided; else None.
    sensor : str
        The sensor that decides; empty where there is only one.
    each : tuple of SensorVerdict
        What every sensor says; empty where there is only one.
    budget : tuple of Part
        Of the uncertainty at the worst speed.
    """

    verdict: Verdict
    margin: float
    worst: Worst
    covered: float
    reason: Said
    measured: Verdict | None = None
    sensor: str = ""
    each: tuple[SensorVerdict, ...] = ()
    budget: tuple[Part, ...] = ()


def deciding(judgements: Mapping[str, Judgement]) -> Judgement:
    """Return the verdict of several sensors: a pass needs all, a fail needs one.

    The sensor that decides is, of those with the gravest verdict, the one nearest to its limit.

    Parameters
    ----------
    judgements : mapping of sensor's name -> Judgement
        At least one.
    """
    grave = {"pass": 0, "undecided": 1, "fail": 2}
    name, worst = max(judgements.items(), key=lambda j: (grave[j[1].verdict], j[1].worst.ratio))
    if len(judgements) == 1:
        return worst
    each = tuple(SensorVerdict(n, j.verdict, j.worst) for n, j in judgements.items())
    return replace(worst, sensor=name, each=each)


def as_first_run(judgement: Judgement) -> Judgement:
    """Return the verdict on the first run of a piece: near the limit, only a second run is a pass."""
    worst = judgement.worst
    if judgement.verdict != "pass" or worst.ratio * (1 + FIRST_RUN_LOW) <= 1.0:
        return judgement
    values: dict[str, float | str] = {
        "amplitude_g": worst.amplitude_g, "limit_g": worst.limit_g, "low": FIRST_RUN_LOW,
    }  # fmt: skip
    return replace(judgement, verdict="undecided", reason=Said("verdict.first_run", values))


def amplitude_uncertainty(
    amplitude_g: NDArray[np.float64],
    noise_g: NDArray[np.float64],
    *,
    repeat_share: float,
    calibration_share: float,
) -> NDArray[np.float64]:
    """Return the standard uncertainty of each amplitude, g.

    Root sum of squares (GUM 5.1.2) of the tracker's noise, the run-to-run repeatability and the
    sensor's calibration, the last two as shares of the amplitude.
    """
    return combined(noise_g, repeat_share * amplitude_g, calibration_share * amplitude_g)


def judge(
    speed_rpm: NDArray[np.float64],
    amplitude_g: NDArray[np.float64],
    uncertainty_g: NDArray[np.float64],
    limit: Limit,
    *,
    from_rpm: float,
    to_rpm: float,
    step_rpm: float,
    pass_k: float = COVERAGE_K,
    degrees: NDArray[np.float64] | None = None,
    hole_rpm: float | None = None,
) -> Judgement:
    """Return the verdict on the points of one or more curves.

    ``fail`` when some point lies above the limit by more than its expanded uncertainty (k = 2);
    ``pass`` when every point lies below it by at least `pass_k` standard uncertainties, and the
    whole speed range was measured; else ``undecided``. A decision rule with guard bands (JCGM
    106:2012, 8.3; ISO 21940-11 clause 10 accepts at ``U_measured <= U_per - dU``, k = 2).

    Parameters
    ----------
    speed_rpm, amplitude_g, uncertainty_g : ndarray, shape (n,)
        All points, in any order; the standard uncertainty of each.
    from_rpm, to_rpm : float
        Range that must be measured.
    degrees : ndarray, shape (n,), optional
        Of freedom behind each uncertainty; both factors are then Student's. Infinite when not given.
    step_rpm : float
        Step of the curve: a hole wider than three steps and 2 % of `to_rpm` counts.
    hole_rpm : float, optional
        A hole wider than this counts, whatever the step: a table's speeds stand apart, and what lies between two of
        them was not measured.
    """
    inside = speed_rpm >= from_rpm
    if not inside.any():
        raise BadInput(
            f"The run has no point above {from_rpm:,.0f} rpm.",
            remedy="Spin to the model's test speed.",
        )
    speed, amplitude, u = speed_rpm[inside], amplitude_g[inside], uncertainty_g[inside]
    nu = np.full(u.shape, np.inf) if degrees is None else degrees[inside]
    allowed = limit.at(speed)
    expanded = factor(COVERAGE_K, nu) * u
    ratio = amplitude / allowed
    k = int(np.argmax(ratio))
    worst = Worst(
        float(speed[k]), float(amplitude[k]), float(u[k]), float(allowed[k]), float(ratio[k])
    )
    covered, reached, gap = _coverage(np.unique(speed), from_rpm, to_rpm, step_rpm, hole_rpm)
    over = amplitude - expanded > allowed
    clear = amplitude + factor(pass_k, nu) * u <= allowed
    margin = 1.0 - worst.ratio
    at_worst: dict[str, float | str] = {
        "amplitude_g": worst.amplitude_g, "speed_rpm": worst.speed_rpm, "limit_g": worst.limit_g,
    }  # fmt: skip
    if over.any():
        return Judgement("fail", margin, worst, covered, Said("verdict.over", at_worst))
    if not reached:
        reason = Said(
            "verdict.not_reached", {"test_rpm": to_rpm, "highest_rpm": float(speed.max())}
        )
        return Judgement("undecided", margin, worst, covered, reason)
    if covered < 1.0:
        reason = Said("verdict.covered", {"covered": covered})
        if hole_rpm is not None:
            reason = Said(
                "verdict.gaps", {"covered": covered, "gap_rpm": gap, "hole_rpm": hole_rpm}
            )
        return Judgement("undecided", margin, worst, covered, reason)
    if clear.all():
        reason = Said("verdict.clear", {**at_worst, "margin": margin})
        return Judgement("pass", margin, worst, covered, reason)
    reason = Said("verdict.too_near", {**at_worst, "expanded_g": float(expanded[k])})
    return Judgement("undecided", margin, worst, covered, reason)


def _coverage(
    speed: NDArray[np.float64],
    from_rpm: float,
    to_rpm: float,
    step_rpm: float,
    hole_rpm: float | None,
) -> tuple[float, bool, float]:
    """Return the measured share of the range, whether its top was reached, and its widest gap."""
    hole = max(3 * step_rpm, USUAL_HOLE * to_rpm) if hole_rpm is None else hole_rpm
    inside = speed[(speed >= from_rpm) & (speed <= to_rpm * 1.001)]
    # the last point of the curve lies up to a step below the highest speed
    reached = bool(speed.max() >= np.floor(REACHED * to_rpm / step_rpm) * step_rpm)
    points = np.concatenate([[from_rpm], inside, [to_rpm]])
    gaps = np.diff(points)
    missing = float(gaps[gaps > hole].sum())
    share = max(0.0, 1.0 - missing / max(to_rpm - from_rpm, 1e-9))
    return share, reached, float(gaps.max())
