"""Control charts for single values: individuals with moving ranges, and the exponentially weighted mean.

Source: NIST/SEMATECH e-Handbook of Statistical Methods, 6.3.2.2 and 6.3.2.4; the checks there are the tests here.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass
from functools import cache

import numpy as np

from ..quantities.arrays import Array
from ..quantities.errors import BadInput

D2_OF_TWO = 1.128
"""Mean range of two values, in standard deviations."""

LEAST = 8
"""Values before limits mean anything (ours)."""


@dataclass(frozen=True)
class Chart:
    """A control chart.

    Attributes
    ----------
    centre, low, high : float
    sigma : float
        Of one value, from moving ranges.
    points : ndarray
        What is drawn: the values, or their weighted means.
    outside : tuple of int
        Places of points outside the limits.
    """

    centre: float
    low: float
    high: float
    sigma: float
    points: Array
    outside: tuple[int, ...]


def _checked(values: Sequence[float], least: int) -> Array:
    x = np.asarray(values, float)
    if len(x) < least or not np.isfinite(x).all():
        raise BadInput(
            f"{len(x)} values make no control chart.",
            remedy=f"At least {least}, all of them numbers.",
        )
    return x


def sigma_of(values: Sequence[float]) -> float:
    """Return the standard deviation of single values from their mean moving range; drift hardly enters it."""
    x = np.asarray(values, float)
    return float(np.abs(np.diff(x)).mean() / D2_OF_TWO) if len(x) > 1 else math.nan


def individuals(values: Sequence[float], *, basis: int | None = None, least: int = LEAST) -> Chart:
    """Return the chart of individuals.

    Parameters
    ----------
    values : sequence of float
        In the order of time.
    basis : int, optional
        Limits from the first so many; from all when not given.
    """
    x = _checked(values, least)
    first = x[: basis or len(x)]
    centre, sigma = float(first.mean()), sigma_of(first.tolist())
    low, high = centre - 3.0 * sigma, centre + 3.0 * sigma
    return Chart(centre, low, high, sigma, x, _outside(x, low, high))


def ewma(
    values: Sequence[float],
    *,
    weight: float = 0.3,
    centre: float | None = None,
    sigma: float | None = None,
    width: float = 3.0,
    basis: int | None = None,
    least: int = LEAST,
) -> Chart:
    """Return the chart of the exponentially weighted mean, with its asymptotic limits.

    Parameters
    ----------
    weight : float
        Of the newest value.
    centre, sigma : float, optional
        From history; from the values (or the first `basis` of them) when not given.
    width : float
        Of the limits, in standard deviations of the weighted mean.
    """
    x = _checked(values, least)
    first = x[: basis or len(x)]
    middle = float(first.mean()) if centre is None else centre
    spread = sigma_of(first.tolist()) if sigma is None else sigma
    points, last = np.empty(len(x)), middle
    for i, v in enumerate(x):
        last = weight * float(v) + (1.0 - weight) * last
        points[i] = last
    half = width * spread * math.sqrt(weight / (2.0 - weight))
    low, high = middle - half, middle + half
    return Chart(middle, low, high, spread, points, _outside(points, low, high))


def _outside(points: Array, low: float, high: float) -> tuple[int, ...]:
    return tuple(int(i) for i in np.flatnonzero((points < low) | (points > high)))


@dataclass(frozen=True)
class Capability:
    """What a process can hold.

    Attributes
    ----------
    cp : float
        nan with one limit.
    cpk : float
    share_outside : float
        Of a normal distribution; beside it, what was really seen, belongs on any page.
    cpk_low, cpk_high : float
        The true one lies between these 95 times in 100; nan when the number of values is not known.
    """

    cp: float
    cpk: float
    share_outside: float
    cpk_low: float = math.nan
    cpk_high: float = math.nan


def capability(
    mean: float,
    sigma: float,
    *,
    low: float | None = None,
    high: float | None = None,
    n: int | None = None,
) -> Capability:
    """Return capability against one limit or two (NIST 6.1.6).

    Parameters
    ----------
    mean, sigma : float
        Of the values; `sigma` their sample standard deviation.
    n : int, optional
        How many values there are. Mean and standard deviation of a few are uncertain themselves: with one limit
        ``3 sqrt(n) Cpk`` has a noncentral t distribution, which gives the interval exactly (D.B. Owen, J. Am. Stat.
        Assoc. 63 (1968) 445); with two it is that of the nearer one.

    Raises
    ------
    BadInput
        No limit, or no spread.
    """
    if sigma <= 0 or (low is None and high is None):
        raise BadInput("There is no capability without a limit and a spread.", remedy="State both.")
    up = (high - mean) / (3.0 * sigma) if high is not None else math.inf
    down = (mean - low) / (3.0 * sigma) if low is not None else math.inf
    cp = (high - low) / (6.0 * sigma) if high is not None and low is not None else math.nan
    cpk, outside = min(up, down), _tail(3.0 * up) + _tail(3.0 * down)
    if n is None or n < 2:
        return Capability(cp, cpk, outside)
    return Capability(cp, cpk, outside, _true_cpk(cpk, n, 0.975), _true_cpk(cpk, n, 0.025))


def _true_cpk(cpk: float, n: int, p: float) -> float:
    """Return the true capability for which a share p of samples of n show a smaller one than was seen."""
    from scipy.optimize import brentq
    from scipy.special import chdtri, ndtr

    # with the standard deviation s of the sample, noncentral t is normal: its mean over s, by Gauss and Legendre
    node, weight = _gauss_nodes()
    s = np.sqrt(chdtri(n - 1, 0.5 * (1.0 - node)) / (n - 1))
    scale = 3.0 * math.sqrt(n)
    seen = scale * cpk

    def surplus(true: float) -> float:
        return float(0.5 * weight @ ndtr(seen * s - true)) - p

    reach = 10.0 + 10.0 * abs(seen)
    return float(brentq(surplus, -reach, reach, xtol=1e-9)) / scale


@cache
def _gauss_nodes() -> tuple[Array, Array]:
    return np.polynomial.legendre.leggauss(120)


def _tail(z: float) -> float:
    return 0.0 if math.isinf(z) else 0.5 * math.erfc(z / math.sqrt(2.0))
