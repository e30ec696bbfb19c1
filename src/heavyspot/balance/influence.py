"""Influence coefficients: one plane or many, one speed or many; least squares and min-max.

All amounts here are *unbalance* (what is there: grind there), unless the name says ``to_add``.
With readings ``V`` and responses ``H`` (reading per unit unbalance), the unbalance is what explains
the readings, ``V = H U``, and removing ``U`` at its angle brings them to the least residual.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike, NDArray

from ..quantities.angles import angle_of
from ..quantities.content import ByContent
from ..quantities.errors import BadInput
from ..quantities.said import Said

ComplexArray = NDArray[np.complex128]

POOR_CONDITION = 10.0
"""Condition number above which the split between planes is not to be trusted (the sum may be)."""


@dataclass(frozen=True, eq=False)
class Solution(ByContent):
    """Unbalance in each plane.

    Attributes
    ----------
    unbalance : ndarray, shape (planes,), complex128
    residual : ndarray, shape (readings,), complex128
        ``V - H U``: what stays when that unbalance is removed.
    condition : float
        Condition number of the weighted responses.
    warning : Said or None
        Empty, or why the split between planes is not to be trusted.
    """

    unbalance: ComplexArray
    residual: ComplexArray
    condition: float
    warning: Said | None

    @property
    def amount(self) -> NDArray[np.float64]:
        """Amount in each plane, shape (planes,), in the unit the responses are per."""
        return np.abs(self.unbalance)

    @property
    def angle_deg(self) -> NDArray[np.float64]:
        """Its angle in each plane, degrees in [0, 360): where to take off."""
        return angle_of(self.unbalance)


def influence_coefficients(before: ArrayLike, after: ArrayLike, trial: ArrayLike) -> ComplexArray:
    """Return the response of each reading to each plane from single trial weights.

    ``H[r, p] = (after[p, r] - before[r]) / trial[p]``; each trial weight added alone.

    Parameters
    ----------
    before : array_like, shape (readings,), complex
    after : array_like, shape (planes, readings), complex
    trial : array_like, shape (planes,), complex
        Unbalance added (positive: added mass).
    """
    v0 = np.atleast_1d(np.asarray(before, complex))
    v1 = np.atleast_2d(np.asarray(after, complex))
    w = np.atleast_1d(np.asarray(trial, complex))
    if v1.shape != (w.size, v0.size):
        raise BadInput(
            f"{w.size} trials and {v0.size} readings need {w.size} x {v0.size} values; got {v1.shape}.",
            remedy="Give every reading for every trial.",
        )
    if np.any(w == 0):
        raise BadInput("A trial weight is zero.", remedy="Give the trial's amount.")
    return ((v1 - v0) / w[:, None]).T


def solve_least_squares(
    response: ArrayLike, reading: ArrayLike, weights: ArrayLike | None = None
) -> Solution:
    """Return the unbalance that leaves the least weighted sum of squares.

    Source: T. P. Goodman, A Least-Squares Method for Computing Balance Corrections, ASME J. Eng.
    Industry 86 (1964) 273.

    Parameters
    ----------
    response : array_like, shape (readings, planes), complex
    reading : array_like, shape (readings,), complex
    weights : array_like, shape (readings,), optional
        Each reading's weight, multiplying its squared residual.
    """
    H, V = _checked(response, reading)
    w = np.ones(V.size) if weights is None else np.asarray(weights, float)
    if w.shape != V.shape or np.any(w < 0):
        raise BadInput("Weights do not fit the readings.", remedy="Give one weight >= 0 each.")
    root = np.sqrt(w)[:, None]
    unbalance, *_ = np.linalg.lstsq(H * root, V * root[:, 0], rcond=None)
    return _solution(H, V, root, unbalance)


def solve_min_max(
    response: ArrayLike, reading: ArrayLike, allowed: ArrayLike | None = None
) -> Solution:
    """Return the unbalance that leaves the least highest ratio ``|residual| / allowed``.

    A second-order cone programme, solved with Clarabel on the few readings that matter: rows are
    added until no other is worse (an exchange). For one plane see `minmax.free_minimum`.

    Parameters
    ----------
    response : array_like, shape (readings, planes), complex
    reading : array_like, shape (readings,), complex
    allowed : array_like, shape (readings,), optional
        Limit of each reading; 1 when not given.
    """
    H, V = _checked(response, reading)
    limit = np.ones(V.size) if allowed is None else np.asarray(allowed, float)
    A = np.asarray(H / limit[:, None], np.complex128)
    b = np.asarray(V / limit, np.complex128)
    planes = H.shape[1]
    start = np.linalg.lstsq(A, b, rcond=None)[0]
    active = list(np.argsort(-np.abs(b - A @ start))[: 2 * planes + 1])
    best = np.inf
    unbalance = np.asarray(start, np.complex128)
    for _ in range(60):
        unbalance, level = _cone(A[active], b[active])
        ratio = np.abs(b - A @ unbalance)
        k = int(np.argmax(ratio))
        if ratio[k] <= level * (1 + 1e-7) + 1e-12 or (k in active and ratio[k] >= best):
            break
        best = min(best, float(ratio[k]))
        if k not in active:
            active.append(k)
    return _solution(H, V, (1 / limit)[:, None], unbalance)


def _cone(A: ComplexArray, b: ComplexArray) -> tuple[ComplexArray, float]:
    """Minimise t with ``|b_k - A_k u| <= t``; variables (t, Re u, Im u)."""
    import clarabel
    from scipy import sparse

    rows, planes = A.shape
    n = 1 + 2 * planes
    dense = np.zeros((3 * rows, n))
    rhs = np.zeros(3 * rows)
    dense[0::3, 0] = -1.0
    dense[1::3, 1 : 1 + planes], dense[1::3, 1 + planes :] = A.real, -A.imag
    dense[2::3, 1 : 1 + planes], dense[2::3, 1 + planes :] = A.imag, A.real
    rhs[1::3], rhs[2::3] = b.real, b.imag
    settings = clarabel.DefaultSettings()
    settings.verbose = False
    settings.tol_gap_abs = settings.tol_gap_rel = settings.tol_feas = 1e-10
    cost = np.zeros(n)
    cost[0] = 1.0
    cones = [clarabel.SecondOrderConeT(3)] * rows
    solver = clarabel.DefaultSolver(
        sparse.csc_matrix((n, n)), cost, sparse.csc_matrix(dense), rhs, cones, settings
    )
    x = np.array(solver.solve().x)
    return x[1 : 1 + planes] + 1j * x[1 + planes :], float(x[0])


def _checked(response: ArrayLike, reading: ArrayLike) -> tuple[ComplexArray, ComplexArray]:
    H = np.atleast_2d(np.asarray(response, complex))
    V = np.atleast_1d(np.asarray(reading, complex))
    if H.shape[0] != V.size:
        raise BadInput(
            f"{H.shape[0]} rows of responses for {V.size} readings.", remedy="Give one row each."
        )
    if H.shape[0] < H.shape[1]:
        raise BadInput(
            f"{V.size} readings cannot settle {H.shape[1]} planes.",
            remedy="Add sensors or speeds, or use fewer planes.",
        )
    if not (np.isfinite(H).all() and np.isfinite(V).all()):
        raise BadInput("Readings or responses hold NaN.", remedy="Leave these readings out.")
    return H, V


def _solution(
    H: ComplexArray, V: ComplexArray, root: NDArray[np.float64], unbalance: ComplexArray
) -> Solution:
    condition = float(np.linalg.cond(H * root))
    warning = None
    if H.shape[1] > 1 and condition > POOR_CONDITION:
        warning = Said("note.planes_alike", {"condition": condition})
    return Solution(unbalance, V - H @ unbalance, condition, warning)


def four_run(
    original: float, with_trial: ArrayLike, angles_deg: ArrayLike, trial: float
) -> tuple[float, float]:
    """Return the weight to add and its angle from amplitudes alone (no phase).

    ``O²`` with a trial effect ``E`` at each angle gives ``R_i² = O² + E² + 2 O E cos(a_i - c)``;
    with angles spread evenly, ``E`` follows from the mean and ``c`` from the first harmonic.

    Parameters
    ----------
    original : float
        Amplitude as found.
    with_trial : array_like, shape (n,), n >= 3
        Amplitude with the trial weight at each angle.
    angles_deg : array_like, shape (n,)
        Evenly spread over the turn.
    trial : float
        The trial weight.

    Returns
    -------
    amount, angle_deg : float
        To ADD, in the trial's unit, at an angle in the same sense as `angles_deg`.
    """
    r2 = np.asarray(with_trial, float) ** 2
    a = np.deg2rad(np.asarray(angles_deg, float))
    if r2.size < 3 or abs(np.exp(1j * a).sum()) > 1e-6 * r2.size:
        raise BadInput("Trial angles are not evenly spread.", remedy="Use for example 0, 120, 240.")
    effect2 = r2.mean() - original**2
    if effect2 <= 0:
        raise BadInput(
            "The readings contradict each other: the trial has no effect.",
            remedy="Repeat with a larger trial weight.",
        )
    effect = np.sqrt(effect2)
    harmonic = (r2 * np.exp(1j * a)).mean()  # = O E exp(j c)
    angle = float(np.rad2deg(np.angle(harmonic)))
    return float(trial * original / effect), (angle + 180.0) % 360.0
