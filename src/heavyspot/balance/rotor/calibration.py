"""Influence coefficients from any number of labelled runs, with what each sensor is worth.

Readings of a run with known amounts in the planes, ``V = base + H U + remounting``: weighted complex least
squares (Goodman, ASME J. Eng. Industry 86 (1964) 273) with the base as one unknown more, so that runout and
what was there before the trials drop out. What the fit leaves tells how well each sensor repeats over
remounting, and that decides its weight, which runs are evidence at all, and what to warn of.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike, NDArray

from ...quantities.errors import BadInput
from ..influence import POOR_CONDITION, Solution, solve_least_squares
from ..uncertainty import carried, standard_of

ComplexArray = NDArray[np.complex128]
FloatArray = NDArray[np.float64]

FLOOR_SHARE = 0.15
"""A run whose effect is known worse than this, in every sensor, is at the floor and is no evidence."""

POOR_SHARE = 0.10
"""A sensor that repeats worse than this share of the usual effect is warned of."""

USUAL_SHARE = 0.03
"""Scatter of a sensor as a share of the largest effect when too few runs tell (ours)."""


@dataclass(frozen=True)
class Calibration:
    """What a machine answers to unbalance, at one speed or several stacked.

    Attributes
    ----------
    response : ndarray, shape (sensors, planes), complex
        Reading per unit unbalance.
    base : ndarray, shape (sensors,), complex
        Reading with nothing added.
    noise : ndarray, shape (sensors,)
        Standard uncertainty of each component of a reading, from what the fit leaves.
    noise_covariance : ndarray, shape (sensors, sensors), complex
        The same with what the sensors have in common: remounting moves them together.
    covariance : ndarray, shape (planes, planes), complex
        Of the responses, for a sensor with unit noise.
    repeat_share : ndarray, shape (sensors,)
        Scatter over the usual effect.
    at_floor : ndarray, shape (runs,), bool
        Runs left out because their effect is not above the scatter.
    condition : float
        Of the weighted responses.
    warnings : tuple of str
    """

    response: ComplexArray
    base: ComplexArray
    noise: FloatArray
    noise_covariance: ComplexArray
    covariance: ComplexArray
    repeat_share: FloatArray
    at_floor: NDArray[np.bool_]
    condition: float
    warnings: tuple[str, ...]

    def predict(self, added: ArrayLike) -> ComplexArray:
        """Return the readings with amounts (planes,) or (runs, planes) in the planes."""
        return np.asarray(self.base + np.asarray(added, complex) @ self.response.T)

    def solve(self, reading: ArrayLike) -> Solution:
        """Return the unbalance that explains a reading less the base; poor sensors count little."""
        change = np.asarray(reading, complex) - self.base
        return solve_least_squares(self.response, change, self.noise**-2)


def fit_covariance(added: ArrayLike) -> ComplexArray:
    """Return the covariance, (planes, planes), of responses to runs with these amounts, for unit noise.

    Parameters
    ----------
    added : array_like, shape (runs, planes), complex
    """
    return _normal_inverse(_rows(np.atleast_2d(np.asarray(added, complex))))[1:, 1:]


def solved_covariance(
    response: ArrayLike,
    unbalance: ArrayLike,
    reading: ArrayLike,
    *,
    noise: ArrayLike,
    response_covariance: ArrayLike,
    weights: ArrayLike,
) -> ComplexArray:
    """Return the covariance, (planes, planes), of what least squares found from a reading.

    Readings and responses both err (GUM 5.2.2): with ``A = (H^H W H)^-1 H^H W`` the unbalance is ``A V``, and to
    first order its error is ``A (dV - dH U)``. The responses of one sensor to several planes come from
    the same runs: the variance of ``dH U`` is that sensor's times ``U^T G U*``, ``G`` the covariance of the fit.

    Parameters
    ----------
    response : array_like, shape (sensors, planes), complex
    unbalance : array_like, shape (planes,), complex
    reading : array_like, shape (sensors, sensors)
        Covariance of a component of the reading.
    noise : array_like, shape (sensors, sensors)
        Of one run of the calibration.
    response_covariance : array_like, shape (planes, planes)
        Of the responses, for a sensor with unit noise.
    weights : array_like, shape (sensors,)
        As the least squares took them.
    """
    H = np.atleast_2d(np.asarray(response, complex))
    u = np.asarray(unbalance, complex)
    weighted = H.conj().T * np.asarray(weights, float)
    G = np.asarray(response_covariance, complex)
    of_response = float((u @ G @ u.conj()).real)
    seen = np.asarray(reading, complex) + of_response * np.asarray(noise, complex)
    return carried(seen, np.linalg.solve(weighted @ H, weighted))


def calibrate(added: ArrayLike, readings: ArrayLike, *, names: tuple[str, ...] = ()) -> Calibration:
    """Return what a machine answers to amounts in its planes.

    Parameters
    ----------
    added : array_like, shape (runs, planes), complex
        Unbalance added in each run; a run with nothing added gives the base.
    readings : array_like, shape (runs, sensors), complex
    names : tuple of str
        Of the sensors, for the warnings.

    Raises
    ------
    BadInput
        Shapes do not fit, a value is not finite, or the runs do not tell the planes apart.
    """
    U = np.atleast_2d(np.asarray(added, complex))
    V = np.atleast_2d(np.asarray(readings, complex))
    _check(U, V)
    kept = np.ones(U.shape[0], bool)
    for _ in range(10):
        base, H, shared, covariance = _fit(U[kept], V[kept])
        noise = standard_of(shared)
        effect = np.abs(U @ H.T)
        floor = (effect * FLOOR_SHARE < np.sqrt(2) * noise).all(axis=1) & (U != 0).any(axis=1)
        if (floor == ~kept).all() or not _settled(U[~floor]):
            break
        kept = ~floor
    usual = np.sqrt((effect[kept] ** 2).mean(axis=0))
    share = np.sqrt(2) * noise / np.maximum(usual, 1e-300)
    condition = float(np.linalg.cond(H / noise[:, None]))
    names = names or tuple(f"sensor {i + 1}" for i in range(V.shape[1]))
    warnings = _warnings(names, share, int((~kept).sum()), condition, U.shape[1])
    return Calibration(H, base, noise, shared, covariance, share, ~kept, condition, warnings)


def _check(U: ComplexArray, V: ComplexArray) -> None:
    if U.shape[0] != V.shape[0]:
        raise BadInput(
            f"{U.shape[0]} runs of amounts for {V.shape[0]} of readings.",
            remedy="Give one row each.",
        )
    if not (np.isfinite(U).all() and np.isfinite(V).all()):
        raise BadInput("Amounts or readings hold NaN.", remedy="Leave these runs out.")
    if not _settled(U):
        raise BadInput(
            f"{U.shape[0]} runs do not tell {U.shape[1]} planes and the base apart.",
            remedy="Give one run with nothing added and one trial in each plane.",
        )
    dead = (np.abs(V - V[0]).max(axis=0) == 0) & (np.abs(U - U[0]).max() > 0)
    if dead.any():
        raise BadInput(
            f"Sensor {int(np.flatnonzero(dead)[0]) + 1} reads the same in every run: it seems dead.",
            remedy="Check its cable, or leave it out.",
        )


def _settled(U: ComplexArray) -> bool:
    rows = np.concatenate([np.ones((U.shape[0], 1)), U / max(np.abs(U).max(initial=0), 1e-300)], 1)
    return bool(np.linalg.matrix_rank(rows, tol=1e-6) == rows.shape[1])


def _rows(U: ComplexArray) -> ComplexArray:
    return np.concatenate([np.ones((U.shape[0], 1), complex), U], axis=1)


def _normal_inverse(rows: ComplexArray) -> ComplexArray:
    return np.asarray(np.linalg.inv(rows.conj().T @ rows))


def _fit(
    U: ComplexArray, V: ComplexArray
) -> tuple[ComplexArray, ComplexArray, ComplexArray, ComplexArray]:
    rows = _rows(U)
    inverse = _normal_inverse(rows)
    fitted = inverse @ (rows.conj().T @ V)
    base, H = fitted[0], fitted[1:].T
    free = U.shape[0] - rows.shape[1]
    usual = USUAL_SHARE * np.maximum(np.abs(U @ H.T).max(axis=0), 1e-300)
    left = V - rows @ fitted
    # as many runs as unknowns leave nothing to see the scatter by: the usual counts as three runs, and knows of
    # nothing that the sensors share
    shared = (left.T @ left.conj() / 2 + np.diag(3 * usual**2)) / (free + 3)
    return base, H, np.asarray(shared), np.asarray(inverse[1:, 1:])


def _warnings(
    names: tuple[str, ...], share: FloatArray, dropped: int, condition: float, planes: int
) -> tuple[str, ...]:
    out = [
        f"{name} repeats to {100 * s:.0f} % of the usual effect only: it counts little."
        for name, s in zip(names, share, strict=True)
        if s > POOR_SHARE and s > 1.5 * share.min()
    ]
    if (share > POOR_SHARE).all():
        out.append(
            "No sensor repeats well enough: use larger trial masses, or look at the mounting."
        )
    if dropped:
        runs = "1 run changes" if dropped == 1 else f"{dropped} runs change"
        out.append(f"{runs} the readings no more than remounting does: left out.")
    if planes > 1 and condition > POOR_CONDITION:
        out.append(
            f"The planes look alike to the sensors (condition number {condition:.0f}): "
            "their sum is sound, the split between them is not."
        )
    return tuple(out)
