"""Gauge studies: crossed repeatability and reproducibility, by analysis of variance and by ranges.

Source: AIAG, Measurement Systems Analysis, 4th edition (its example is the test here).
"""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace

import numpy as np

from ..quantities.arrays import Array
from ..quantities.errors import BadInput

POOL_P = 0.25
"""An interaction less sure than this is left out and pooled into repeatability (usual practice of MSA)."""

D2_STAR = {
    2: 1.41421, 3: 1.91155, 4: 2.23887, 5: 2.48124, 6: 2.67253, 7: 2.82981, 8: 2.96288, 9: 3.07794,
    10: 3.17905,
}  # fmt: skip
"""d2* for one group of so many (MSA, appendix C)."""

D2 = {2: 1.128, 3: 1.693, 4: 2.059, 5: 2.326}

D3 = {2: 0.8525, 3: 0.8884, 4: 0.8798, 5: 0.8641}
"""Standard deviation of a range of so many, in standard deviations (any table of control chart constants)."""

MANY_RANGES = 15
"""More ranges than these are divided by d2, fewer by d2*, which knows that they are few (MSA, appendix C)."""


def range_factor(values: int, ranges: int) -> float:
    """Return what a mean of ranges of so many values is divided by: d2, or ``d2* = sqrt(d2² + d3²/ranges)``."""
    few = ranges <= MANY_RANGES
    return math.hypot(D2[values], D3[values] / math.sqrt(ranges)) if few else D2[values]


@dataclass(frozen=True)
class GaugeStudy:
    """What a crossed study found.

    Attributes
    ----------
    repeat, reproduce, interaction, part, total : float
        Standard deviations.
    gauge : float
        Repeatability and reproducibility together.
    gauge_low, gauge_high : float
        The true one lies between these 95 times in 100; nan by ranges.
    share : float
        Of the total spread that is the gauge's.
    categories : int
        Number of distinct categories it can tell apart.
    p_interaction : float
        nan by ranges.
    pooled : bool
        Whether the interaction was left out.
    parts, operators, trials : int
    """

    repeat: float
    reproduce: float
    interaction: float
    part: float
    total: float
    gauge: float
    share: float
    categories: int
    p_interaction: float
    pooled: bool
    parts: int
    operators: int
    trials: int
    gauge_low: float = math.nan
    gauge_high: float = math.nan

    def of_tolerance(self, tolerance: float) -> float:
        """Return six standard deviations of the gauge, as a share of a tolerance."""
        return 6.0 * self.gauge / tolerance


def _cube(read: Mapping[str, Sequence[Sequence[float]]]) -> Array:
    """Return readings as (operators, trials, parts); raises `BadInput` when the study is not crossed."""
    try:
        cube = np.array([read[k] for k in read], float)
    except ValueError:
        cube = np.empty(0)
    if cube.ndim != 3 or not np.isfinite(cube).all():
        raise BadInput(
            "The study is not complete.", remedy="Each operator reads each part equally often."
        )
    operators, trials, parts = cube.shape
    if operators < 2 or trials < 2 or parts < 2:
        raise BadInput(
            f"{operators} operators, {trials} trials and {parts} parts are too few.",
            remedy="At least two of each; usual are three operators, three trials, ten parts.",
        )
    return cube


def by_anova(read: Mapping[str, Sequence[Sequence[float]]]) -> GaugeStudy:
    """Return a study by crossed analysis of variance, the interaction pooled where it is not sure.

    Parameters
    ----------
    read : mapping of operator to trials, each a list with a reading of every part

    Raises
    ------
    BadInput
        The study is not complete, or too small.
    """
    from scipy.stats import f

    cube = _cube(read)
    o, t, p = cube.shape
    mean = cube.mean()
    by_operator, by_part, by_cell = (
        cube.mean(axis=(1, 2)),
        cube.mean(axis=(0, 1)),
        cube.mean(axis=1),
    )
    ss_operator = p * t * float(((by_operator - mean) ** 2).sum())
    ss_part = o * t * float(((by_part - mean) ** 2).sum())
    ss_cell = t * float(((by_cell - mean) ** 2).sum())
    ss_interaction = ss_cell - ss_operator - ss_part
    ss_repeat = float(((cube - mean) ** 2).sum()) - ss_cell
    df_interaction, df_repeat = (o - 1) * (p - 1), o * p * (t - 1)
    ms_interaction, ms_repeat = ss_interaction / df_interaction, ss_repeat / df_repeat
    sure = (
        float(f.sf(ms_interaction / ms_repeat, df_interaction, df_repeat)) if ms_repeat > 0 else 0.0
    )
    pooled = sure > POOL_P
    if pooled:
        ms_repeat = (ss_interaction + ss_repeat) / (df_interaction + df_repeat)
        ms_interaction = ms_repeat
    v_repeat = ms_repeat
    v_interaction = 0.0 if pooled else max(0.0, (ms_interaction - ms_repeat) / t)
    v_operator = max(0.0, (ss_operator / (o - 1) - ms_interaction) / (p * t))
    v_part = max(0.0, (ss_part / (p - 1) - ms_interaction) / (o * t))
    free = df_interaction + df_repeat if pooled else df_interaction
    low, high = _interval(
        [
            (ss_operator / (o - 1) / (p * t), o - 1),
            (ms_interaction * (p - 1) / (p * t), free),
            (ms_repeat * (t - 1) / t, free if pooled else df_repeat),
        ],
        pooled=pooled,
    )
    study = _study(v_repeat, v_operator, v_interaction, v_part, sure, pooled, cube)
    return replace(study, gauge_low=low, gauge_high=high)


def _interval(parts: list[tuple[float, int]], *, pooled: bool) -> tuple[float, float]:
    """Return the interval of the root of a sum of mean squares, each with its degrees of freedom.

    The modified large-sample method (F.A. Graybill and C.M. Wang, J. Am. Stat. Assoc. 75 (1980) 869). Mean squares
    that were pooled are one.
    """
    from scipy.special import chdtri

    if pooled:
        parts = [parts[0], (parts[1][0] + parts[2][0], parts[1][1])]
    total = sum(v for v, _ in parts)
    below = sum((v * (1.0 - df / float(chdtri(df, 0.025)))) ** 2 for v, df in parts)
    above = sum((v * (df / float(chdtri(df, 0.975)) - 1.0)) ** 2 for v, df in parts)
    return math.sqrt(max(0.0, total - math.sqrt(below))), math.sqrt(total + math.sqrt(above))


def _study(
    repeat: float,
    operator: float,
    interaction: float,
    part: float,
    sure: float,
    pooled: bool,
    cube: Array,
) -> GaugeStudy:
    gauge = repeat + operator + interaction
    total = gauge + part
    o, t, p = cube.shape
    categories = int(math.sqrt(2.0 * part / gauge)) if gauge > 0 else 0
    return GaugeStudy(
        math.sqrt(repeat), math.sqrt(operator + interaction), math.sqrt(interaction), math.sqrt(part),
        math.sqrt(total), math.sqrt(gauge), math.sqrt(gauge / total) if total > 0 else 0.0,
        max(1, categories) if part > 0 else 0, sure, pooled, p, o, t,
    )  # fmt: skip


def by_ranges(read: Mapping[str, Sequence[Sequence[float]]]) -> GaugeStudy:
    """Return a study by averages and ranges: what many shops do by hand, and their auditors ask for.

    Raises
    ------
    BadInput
        The study is not complete, or has more than five trials, or ten operators or parts.
    """
    cube = _cube(read)
    o, t, p = cube.shape
    if t not in D2 or o not in D2_STAR or p not in D2_STAR:
        raise BadInput(
            "Ranges are tabled for 2 to 5 trials and 2 to 10 operators and parts.",
            remedy="Take the analysis of variance.",
        )
    repeat = float(np.ptp(cube, axis=1).mean()) / range_factor(t, o * p)
    apart = float(np.ptp(cube.mean(axis=(1, 2)))) / D2_STAR[o]
    operator = math.sqrt(max(0.0, apart**2 - repeat**2 / (p * t)))
    part = float(np.ptp(cube.mean(axis=(0, 1)))) / D2_STAR[p]
    return _study(repeat**2, operator**2, 0.0, part**2, math.nan, False, cube)
