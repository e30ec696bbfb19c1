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
LEAST_POINTS = 3


@dataclass(frozen=True)
class NozzleCurve:
    """Flow over position, fitted by a polynomial that rises or falls throughout.

    Attributes
    ----------
    coefficients : tuple of float
        Of position, lowest power first; kg/s.
    covariance : ndarray, shape (n, n)
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
    """Return the curve through readings: of degree two where it helps and stays monotonic, else a line.

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
    best = None
    for degree in (1, 2):
        if len(np.unique(x)) <= degree or (len(x) <= degree + 1 and degree > 1):
            continue
        coefficients, residual, covariance = _fit(x, y, degree)
        slopes = polynomial.polyval(
            np.linspace(x.min(), x.max(), 41), polynomial.polyder(coefficients)
        )
        monotonic = bool((slopes > 0).all() or (slopes < 0).all())
        if best is None or (monotonic and residual < 0.8 * best[1]):
            best = (coefficients, residual, covariance)
    assert best is not None  # two positions always give a line
    coefficients, residual, covariance = best
    span = abs(
        float(polynomial.polyval(x.max(), coefficients) - polynomial.polyval(x.min(), coefficients))
    )
    if span <= 3.0 * residual / math.sqrt(len(x)):
        raise BadInput(
            "The flow does not change with the position.", remedy="Look whether the nozzle moves."
        )
    covariance = covariance.copy()
    covariance[0, 0] += u_kg_s**2
    ways: list[Way] = list(way) if way is not None else ["opening"] * len(x)
    return NozzleCurve(
        tuple(float(c) for c in coefficients), covariance, float(x.min()), float(x.max()), residual,
        _hysteresis(x, y, ways), _repeatability(x, y, ways),
    )  # fmt: skip


def _fit(x: Array, y: Array, degree: int) -> tuple[Array, float, Array]:
    powers = np.vander(x, degree + 1, increasing=True)
    coefficients, *_ = np.linalg.lstsq(powers, y, rcond=None)
    free = max(len(x) - degree - 1, 1)
    residual = float(math.sqrt(np.sum((y - powers @ coefficients) ** 2) / free))
    return coefficients, residual, residual**2 * np.linalg.inv(powers.T @ powers)


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
    inside : bool
        Whether the place lies within what was measured.
    """

    position: float
    turns: float
    way: Literal["in", "out", "none"]
    turns_u: float
    inside: bool


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
        float(place), float(abs(turns)), way, u, bool(curve.low <= place <= curve.high)
    )
