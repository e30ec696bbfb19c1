"""Variable nozzles: flow over the actuator's position, opening against closing, where the stop belongs."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass
from typing import Literal

import numpy as np
from numpy.polynomial import polynomial

from ..quantities.arrays import Array
from ..quantities.checks import positive
from ..quantities.errors import BadInput

Way = Literal["opening", "closing"]
LEAST_POINTS, BENT_POINTS = 3, 5
"""Readings for a line at least, and for a parabola."""

TWO_SIGMA = 0.97724987
"""Share of a normal distribution below two standard deviations."""


@dataclass(frozen=True)
class NozzleCurve:
    """Flow over position, fitted by a polynomial that rises or falls throughout.

    Attributes
    ----------
    coefficients : tuple of float
        Of position, lowest power first; kg/s.
    covariance : ndarray, shape (n, n)
        Of the coefficients, from what the fit leaves.
    common_kg_s : float
        Standard uncertainty that all readings share.
    degrees : int
        Of freedom of the fit.
    low, high : float
        Range of positions that was measured.
    spread_kg_s : float
        Standard deviation of a reading about the curve.
    hysteresis_kg_s : float
        Mean of opening minus closing; nan when only one way was measured.
    repeat_kg_s : float
        Standard deviation of readings at one position and way; nan when none was repeated.
    """

    coefficients: tuple[float, ...]
    covariance: Array
    common_kg_s: float
    degrees: int
    low: float
    high: float
    spread_kg_s: float
    hysteresis_kg_s: float
    repeat_kg_s: float

    def flow_kg_s(self, position: float) -> float:
        """Return the flow at a position."""
        return float(polynomial.polyval(position, self.coefficients))

    def flow_u(self, position: float) -> float:
        """Return the standard uncertainty of the fitted flow at a position."""
        return math.hypot(self._fit_u(position), self.common_kg_s)

    def factor(self, position: float) -> float:
        """Return the factor that makes `flow_u` cover as often as k = 2 of a normal distribution.

        Student's t for the effective degrees of freedom (JCGM 100, G.4, Welch and Satterthwaite): few readings tell
        little of their own scatter.
        """
        from scipy.special import stdtrit

        fitted = self._fit_u(position)
        if fitted == 0:
            return 2.0
        effective = self.degrees * (self.flow_u(position) / fitted) ** 4
        return float(stdtrit(min(effective, 1e6), TWO_SIGMA))

    def _fit_u(self, position: float) -> float:
        powers = position ** np.arange(len(self.coefficients))
        return math.sqrt(max(float(powers @ self.covariance @ powers), 0.0))

    def slope(self, position: float) -> float:
        """Return kg/s per unit of position."""
        return float(polynomial.polyval(position, polynomial.polyder(self.coefficients)))


def fit_nozzle(
    position: Sequence[float],
    flow_kg_s: Sequence[float],
    way: Sequence[Way] | None = None,
    *,
    u_kg_s: float = 0.0,
) -> NozzleCurve:
    """Return the curve through readings: of degree two from five of them where it stays monotonic, else a line.

    Which of the two is not left to what lies nearer: a curve that was chosen for its small residual would be
    thought better known than it is.

    Parameters
    ----------
    position, flow_kg_s : sequences of equal length
    way : sequence of "opening" or "closing", optional
    u_kg_s : float
        Standard uncertainty common to all readings; it is added to the curve's.

    Raises
    ------
    BadInput
        Fewer than three readings or two positions, or a flow that does not change with position.
    """
    x, y = np.asarray(position, float), np.asarray(flow_kg_s, float)
    if len(x) != len(y) or len(x) < LEAST_POINTS or len(np.unique(x)) < 2:
        raise BadInput(
            f"{len(x)} readings at {len(np.unique(x))} positions tell no curve.",
            remedy="At least three readings, at two positions or more.",
        )
    coefficients, residual, covariance = _fit(x, y, 1)
    if len(np.unique(x)) > 2 and len(x) >= BENT_POINTS:
        bent = _fit(x, y, 2)
        if _monotonic(x, bent[0]):
            coefficients, residual, covariance = bent
    span = abs(
        float(polynomial.polyval(x.max(), coefficients) - polynomial.polyval(x.min(), coefficients))
    )
    if span <= 3.0 * residual / math.sqrt(len(x)):
        raise BadInput(
            "The flow does not change with the position.", remedy="Look whether the nozzle moves."
        )
    ways: list[Way] = list(way) if way is not None else ["opening"] * len(x)
    return NozzleCurve(
        tuple(float(c) for c in coefficients), covariance, u_kg_s, len(x) - len(coefficients),
        float(x.min()), float(x.max()), residual,
        _hysteresis(x, y, ways), _repeatability(x, y, ways),
    )  # fmt: skip


def _fit(x: Array, y: Array, degree: int) -> tuple[Array, float, Array]:
    powers = np.vander(x, degree + 1, increasing=True)
    coefficients, *_ = np.linalg.lstsq(powers, y, rcond=None)
    free = max(len(x) - degree - 1, 1)
    residual = float(math.sqrt(np.sum((y - powers @ coefficients) ** 2) / free))
    return coefficients, residual, residual**2 * np.linalg.inv(powers.T @ powers)


def _monotonic(x: Array, coefficients: Array) -> bool:
    slopes = polynomial.polyval(np.linspace(x.min(), x.max(), 41), polynomial.polyder(coefficients))
    return bool((slopes > 0).all() or (slopes < 0).all())


def _hysteresis(x: Array, y: Array, ways: list[Way]) -> float:
    is_open = np.array([w == "opening" for w in ways])
    both = [
        float(y[(x == p) & is_open].mean() - y[(x == p) & ~is_open].mean())
        for p in np.unique(x)
        if ((x == p) & is_open).any() and ((x == p) & ~is_open).any()
    ]
    return float(np.mean(both)) if both else math.nan


def _repeatability(x: Array, y: Array, ways: list[Way]) -> float:
    groups: dict[tuple[float, str], list[float]] = {}
    for p, f, w in zip(x, y, ways, strict=True):
        groups.setdefault((float(p), w), []).append(float(f))
    repeated = [g for g in groups.values() if len(g) > 1]
    if not repeated:
        return math.nan
    return math.sqrt(
        sum(float(np.var(g, ddof=1)) * (len(g) - 1) for g in repeated)
        / sum(len(g) - 1 for g in repeated)
    )


@dataclass(frozen=True)
class StopAdvice:
    """Where to set the stop for a wanted minimum flow.

    Attributes
    ----------
    position : float
    turns : float
        From where it is; positive the way that `way` says.
    way : str
        ``in`` or ``out``.
    turns_u : float
        Standard uncertainty.
    factor : float
        Which makes it an expanded one.
    inside : bool
        Whether the place lies within what was measured.
    """

    position: float
    turns: float
    way: Literal["in", "out", "none"]
    turns_u: float
    inside: bool
    factor: float


def set_stop(
    curve: NozzleCurve, wanted_kg_s: float, *, at: float, per_turn: float, in_is_up: bool = True
) -> StopAdvice:
    """Return how far and which way to turn the stop.

    Parameters
    ----------
    at : float
        Where the stop is now, in positions.
    per_turn : float
        Positions for one turn.
    in_is_up : bool
        Whether turning in raises the position.

    Raises
    ------
    BadInput
        The curve does not reach that flow anywhere near.
    """
    positive("per turn", per_turn)
    span = curve.high - curve.low
    c = list(curve.coefficients)
    c[0] -= wanted_kg_s
    roots = [r.real for r in polynomial.polyroots(c) if abs(r.imag) < 1e-9]
    near = [r for r in roots if curve.low - 0.5 * span <= r <= curve.high + 0.5 * span]
    if not near:
        raise BadInput(
            f"{wanted_kg_s:g} kg/s is far from what was measured.",
            remedy="Measure at positions nearer to it.",
        )
    middle = 0.5 * (curve.low + curve.high)
    place = min(near, key=lambda r: abs(r - middle))
    turns = (place - at) / per_turn
    u = curve.flow_u(place) / max(abs(curve.slope(place)), 1e-12) / per_turn
    way: Literal["in", "out", "none"] = "none"
    if abs(turns) > 0.5 * u and abs(turns) > 1e-9:
        way = "in" if (turns > 0) == in_is_up else "out"
    return StopAdvice(
        float(place), float(abs(turns)), way, u, bool(curve.low <= place <= curve.high), curve.factor(place)
    )  # fmt: skip
