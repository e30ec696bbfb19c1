"""Corrections where a rotor allows them: at blades, holes and bosses, and shared between more planes.

Small linear and cone programmes, solved by scipy's HiGHS and by Clarabel. Sets of masses: `mass_sets`.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike, NDArray
from scipy import sparse
from scipy.optimize import linprog, lsq_linear

from ...quantities.errors import BadInput

ComplexArray = NDArray[np.complex128]
FloatArray = NDArray[np.float64]


@dataclass(frozen=True)
class Split:
    """Amounts at places.

    Attributes
    ----------
    amounts : ndarray, shape (places,)
        In the unit of the wanted correction.
    residual : complex
        What stays.
    """

    amounts: FloatArray
    residual: complex


def split_over(
    wanted: complex, places_deg: ArrayLike, *, most_each: float | ArrayLike = np.inf
) -> Split:
    """Return the least total amount at fixed places that makes a correction; the nearest when none does.

    Without caps that is the two neighbours by the law of sines.

    Parameters
    ----------
    wanted : complex
        Correction, amount and angle.
    places_deg : array_like, shape (n,)
    most_each : float or array_like
        Largest amount at each place.

    Raises
    ------
    BadInput
        Fewer than two places, or a negative cap.
    """
    angles, caps = checked_places(places_deg, most_each)
    rows = np.stack([np.cos(angles), np.sin(angles)])
    goal = np.array([wanted.real, wanted.imag])
    bounds = [(0.0, None if np.isinf(c) else float(c)) for c in caps]
    solved = linprog(np.ones(angles.size), A_eq=rows, b_eq=goal, bounds=bounds)
    if solved.status == 0:
        amounts = np.asarray(solved.x)
    else:  # the caps or the places cannot make it: come as near as can be
        amounts = np.asarray(lsq_linear(rows, goal, bounds=(0.0, np.maximum(caps, 1e-300))).x)
    amounts = np.where(amounts < 1e-9 * max(abs(wanted), 1e-300), 0.0, amounts)
    return Split(amounts, complex(wanted - (amounts * np.exp(1j * angles)).sum()))


def checked_places(
    places_deg: ArrayLike, most_each: float | ArrayLike
) -> tuple[FloatArray, FloatArray]:
    """Return angles in radians and the most at each; raises `BadInput` for fewer than two places."""
    angles = np.deg2rad(np.atleast_1d(np.asarray(places_deg, float)))
    caps = np.broadcast_to(np.asarray(most_each, float), angles.shape)
    if angles.size < 2 or not np.isfinite(angles).all():
        raise BadInput(
            f"{angles.size} place cannot make a correction at any angle.",
            remedy="Give two or more.",
        )
    if (caps < 0).any():
        raise BadInput("The most at a place is negative.", remedy="Give zero or more.")
    return angles, np.asarray(caps)


def least_removal(
    wanted: Sequence[complex], levers: ArrayLike, may_stay: Sequence[float] = (0.0, 0.0)
) -> ComplexArray:
    """Return the unbalance to take off in each of several planes so that the least is taken in all.

    Parameters
    ----------
    wanted : sequence of complex, shape (2,)
        Unbalance in two reference planes (for example the bearing planes).
    levers : array_like, shape (2, planes)
        What one unit in each plane is in the reference planes (`rigid.lever_matrix`).
    may_stay : sequence of float, shape (2,)
        What may stay in each reference plane.

    Returns
    -------
    ndarray, shape (planes,), complex128

    Raises
    ------
    BadInput
        The planes cannot make it.
    """
    import clarabel

    L = np.asarray(levers, float)
    planes = L.shape[1]
    if L.shape[0] != 2 or np.linalg.matrix_rank(L) < 2:
        raise BadInput(
            "These planes cannot make every correction.", remedy="Give two planes apart."
        )
    # variables: t (planes), Re u, Im u; minimise sum t; |u_p| <= t_p; |b - L u| <= stay
    n = 3 * planes
    rows, rhs, cones = [], [], []
    for p in range(planes):
        block = np.zeros((3, n))
        block[0, p], block[1, planes + p], block[2, 2 * planes + p] = -1.0, -1.0, -1.0
        rows.append(block)
        rhs.append(np.zeros(3))
        cones.append(clarabel.SecondOrderConeT(3))
    for i, (b, stay) in enumerate(zip(wanted, may_stay, strict=True)):
        block = np.zeros((3, n))
        block[1, planes : 2 * planes] = block[2, 2 * planes :] = L[i]
        rows.append(block)
        rhs.append(np.array([max(stay, 0.0), b.real, b.imag]))
        cones.append(clarabel.SecondOrderConeT(3))
    settings = clarabel.DefaultSettings()
    settings.verbose = False
    cost = np.concatenate([np.ones(planes), np.zeros(2 * planes)])
    A = sparse.csc_matrix(np.concatenate(rows))
    solver = clarabel.DefaultSolver(
        sparse.csc_matrix((n, n)), cost, A, np.concatenate(rhs), cones, settings
    )
    solved = solver.solve()
    if "Solved" not in str(solved.status):
        raise BadInput(
            f"The least removal was not found ({solved.status}).", remedy="Use two planes."
        )
    x = np.array(solved.x)
    return np.asarray(x[planes : 2 * planes] + 1j * x[2 * planes :])
