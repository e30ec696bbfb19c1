"""Corrections where a rotor allows them: at blades, holes and bosses, with sets of masses, in more planes.

Small linear and integer programmes, solved by scipy's HiGHS and by Clarabel.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike, NDArray
from scipy import sparse
from scipy.optimize import (
    Bounds,
    LinearConstraint,
    OptimizeResult,
    linprog,
    lsq_linear,
    milp,
)

from ..quantities.errors import BadInput

ComplexArray = NDArray[np.complex128]
FloatArray = NDArray[np.float64]

DIRECTIONS = 16
"""Sides of the polygon that stands for a circle round the residual: within 2 % of it."""

LONGEST_SEARCH_S = 5.0


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
    angles, caps = _places(places_deg, most_each)
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


def _places(places_deg: ArrayLike, most_each: float | ArrayLike) -> tuple[FloatArray, FloatArray]:
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


@dataclass(frozen=True)
class Counts:
    """Whole masses at places.

    Attributes
    ----------
    counts : ndarray, shape (places, masses), int
    residual : complex
    proven : bool
        Whether the search could prove that nothing is better (within the polygon's 2 %).
    """

    counts: NDArray[np.int64]
    residual: complex
    proven: bool


def set_of_masses(
    wanted: complex,
    places_deg: ArrayLike,
    each: ArrayLike,
    *,
    stock: ArrayLike | None = None,
    most_at_place: int = 4,
    enough: float = 0.0,
) -> Counts:
    """Return how many of each mass to put at each place: the least that stays, then the least mass.

    Parameters
    ----------
    wanted : complex
        Correction, in the unit of `each` (mass times radius).
    each : array_like, shape (masses,)
        What one of each mass makes.
    stock : array_like, shape (masses,), optional
        How many of each there are; any number when not given.
    most_at_place : int
        Pieces that fit at one place.
    enough : float
        What may stay anyway: nothing is added to bring it lower.

    Raises
    ------
    BadInput
        A mass is not positive, or no place takes one.
    """
    angles, _ = _places(places_deg, np.inf)
    masses = np.atleast_1d(np.asarray(each, float))
    if masses.size == 0 or not (masses > 0).all() or most_at_place < 1:
        raise BadInput("A mass of the set is not above zero.", remedy="Give each mass as a number.")
    n, m = angles.size, masses.size
    made = (np.exp(1j * angles)[:, None] * masses).reshape(-1)  # of one piece, place by mass
    turns = np.exp(2j * np.pi * np.arange(DIRECTIONS) / DIRECTIONS)
    # t >= Re((wanted - sum n made) conj(turn)) for each turn; variables: counts, then t
    sides = np.concatenate([(made * turns[:, None].conj()).real, np.ones((DIRECTIONS, 1))], axis=1)
    rules = [LinearConstraint(sides, (wanted * turns.conj()).real, np.inf)]
    per_place = np.kron(np.eye(n), np.ones(m))
    rules.append(LinearConstraint(np.pad(per_place, ((0, 0), (0, 1))), 0, most_at_place))
    if stock is not None:
        per_mass = np.kron(np.ones(n), np.eye(m))
        have = np.asarray(stock, float)
        if have.shape != masses.shape or (have < 0).any():
            raise BadInput(
                "The stock does not fit the masses.", remedy="Give a count for each mass."
            )
        rules.append(LinearConstraint(np.pad(per_mass, ((0, 0), (0, 1))), 0, have))
    whole = np.append(np.ones(n * m), 0)
    top = np.append(np.full(n * m, float(most_at_place)), np.inf)

    def solve(cost: FloatArray, most_left: float) -> OptimizeResult:
        top[-1] = most_left
        return milp(
            cost,
            constraints=rules,
            integrality=whole,
            bounds=Bounds(0, top.copy()),
            options={"time_limit": LONGEST_SEARCH_S, "mip_rel_gap": 1e-3},
        )

    nearest = solve(np.append(np.zeros(n * m), 1.0), np.inf)
    if nearest.x is None:
        raise BadInput("No way to place the masses was found.", remedy="Allow more at a place.")
    # as near as can be, to a part of the smallest mass; then without masses that only face each other
    left = max(float(nearest.x[-1]) + 0.02 * float(masses.min()), enough)
    sparing = solve(np.append(np.tile(masses, n) + 0.01 * masses.min(), 0.0), left)
    best = sparing if sparing.x is not None else nearest
    counts = np.rint(best.x[:-1]).astype(np.int64)
    proven = nearest.status == 0 and best.status == 0
    return Counts(counts.reshape(n, m), complex(wanted - (counts * made).sum()), proven)


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
