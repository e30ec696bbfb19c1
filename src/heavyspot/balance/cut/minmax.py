"""The least highest ratio with one response: exact, in well under a millisecond.

With one plane, ``max_k |V_k - H_k u| / L_k`` over the free vector ``u`` is the smallest weighted
circle round the points ``V_k / H_k`` (weights ``|H_k| / L_k``): a problem settled by two or three
of the speeds. An exchange adds the worst speed until none is worse. Whatever angles are allowed,
only the sum of the cuts matters, and two neighbouring angles reach it; caps and gaps between
allowed angles leave the best point on an edge of what two cuts can reach, which is searched.
"""

from __future__ import annotations

import itertools
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

ComplexArray = NDArray[np.complex128]
FloatArray = NDArray[np.float64]

_GOLDEN = (np.sqrt(5.0) - 1) / 2


@dataclass(frozen=True)
class CutPair:
    """At most two cuts.

    Attributes
    ----------
    angles_deg, amounts : tuple of float
        Of the cuts to make, g·mm; empty when none helps.
    level : float
        Highest ratio they leave.
    """

    angles_deg: tuple[float, ...]
    amounts: tuple[float, ...]
    level: float


def free_minimum(points: ComplexArray, weights: FloatArray) -> tuple[complex, float]:
    """Return u and the least ``max_k weights_k |points_k - u|``.

    Parameters
    ----------
    points : ndarray, shape (n,), complex
    weights : ndarray, shape (n,), > 0
    """
    u = complex((points * weights).sum() / weights.sum())
    basis: list[int] = []
    level = 0.0
    for _ in range(200):
        far = np.abs(points - u) * weights
        k = int(far.argmax())
        if basis and far[k] <= level * (1 + 1e-10) + 1e-15:
            break
        basis, u, level = _best_basis([i for i in basis if i != k], k, points, weights)
    return u, level


def _best_basis(
    old: list[int], new: int, points: ComplexArray, weights: FloatArray
) -> tuple[list[int], complex, float]:
    """Return the subset with `new`, of at most three, whose circle holds all of old and new."""
    best: tuple[list[int], complex, float] | None = None
    everyone = [*old, new]
    for size in range(min(2, len(old)) + 1):
        for others in itertools.combinations(old, size):
            chosen = [*others, new]
            for u, level in _circles(chosen, points, weights):
                held = all(
                    weights[i] * abs(points[i] - u) <= level * (1 + 1e-9) + 1e-15 for i in everyone
                )
                if held and (best is None or level < best[2]):
                    best = (chosen, u, level)
    if best is None:  # only by rounding; keep the three worst
        u = complex(points[new])
        return [new], u, 0.0
    return best


def _circles(
    chosen: list[int], points: ComplexArray, weights: FloatArray
) -> list[tuple[complex, float]]:
    """Return the candidates at which all of `chosen` are equally far (weighted)."""
    p = [complex(points[i]) for i in chosen]
    w = [float(weights[i]) for i in chosen]
    if len(p) == 1:
        return [(p[0], 0.0)]
    if len(p) == 2:
        share = w[1] / (w[0] + w[1])
        u = p[0] + share * (p[1] - p[0])
        return [(u, w[0] * abs(p[0] - u))]
    # |u - p_i|² = t² / w_i²: differences are linear in u and t²
    rows = np.array([[2 * (p[i] - p[0]).real, 2 * (p[i] - p[0]).imag] for i in (1, 2)])
    if abs(np.linalg.det(rows)) < 1e-14 * max(1e-300, float(np.abs(rows).max()) ** 2):
        return []
    const = np.array([abs(p[i]) ** 2 - abs(p[0]) ** 2 for i in (1, 2)])
    slope = np.array([1 / w[0] ** 2 - 1 / w[i] ** 2 for i in (1, 2)])
    a, b = np.linalg.solve(rows, const), np.linalg.solve(rows, slope)  # u = a + b s, s = t²
    a0 = complex(a[0], a[1]) - p[0]
    b0 = complex(b[0], b[1])
    # |a0 + b0 s|² = s / w0²
    q2, q1, q0 = abs(b0) ** 2, 2 * (a0 * b0.conjugate()).real - 1 / w[0] ** 2, abs(a0) ** 2
    if q2 < 1e-18:
        roots = [-q0 / q1] if q1 else []
    else:
        disc = q1 * q1 - 4 * q2 * q0
        if disc < 0:
            return []
        root = float(np.sqrt(disc))
        # the small root without cancellation
        big = (-q1 + root) / (2 * q2) if q1 < 0 else (-q1 - root) / (2 * q2)
        roots = [big, q0 / (q2 * big)] if big else [big]
    return [(p[0] + a0 + b0 * s, float(np.sqrt(s))) for s in roots if s >= 0]


def best_cuts(
    vector: ComplexArray,
    response: ComplexArray,
    allowed: FloatArray,
    *,
    angles_deg: FloatArray,
    cap: float,
    budget: float = np.inf,
    most: int = 2,
) -> CutPair:
    """Return at most two cuts at allowed angles that leave the least highest ratio.

    Parameters
    ----------
    vector : ndarray, shape (n,), complex
        Once-per-turn vector at each speed, g.
    response : ndarray, shape (n,), complex
        g per g·mm.
    allowed : ndarray, shape (n,)
        Limit at each speed, g.
    angles_deg : ndarray, shape (m,), ascending in [0, 360)
        Where cuts may be made.
    cap : float
        Largest amount of one cut, g·mm.
    budget : float
        Largest sum of the amounts.
    most : int
        1 or 2 cuts.
    """
    weights = np.abs(response) / allowed
    safe = np.where(np.abs(response) > 0, response, 1.0)
    points = np.where(weights > 0, vector / safe, 0.0)
    weights = np.maximum(weights, 1e-12 * max(float(weights.max()), 1e-300))
    none = float((np.abs(vector) / allowed).max())
    u, level = free_minimum(points, weights)
    if level >= none * (1 - 1e-9):  # not even a free cut helps
        return CutPair((), (), none)
    unit = np.exp(1j * np.deg2rad(angles_deg))
    reached = _reach(u, angles_deg, unit, cap, budget, most)
    if reached is not None:
        return CutPair(*reached, level)
    found = _search_edges(points, weights, unit, cap, budget, most)
    if found is None or found[2] >= none:
        return CutPair((), (), none)
    indices, amounts, level = found
    kept = [
        (float(angles_deg[i]), a) for i, a in zip(indices, amounts, strict=True) if a > 1e-9 * cap
    ]
    return CutPair(tuple(a for a, _ in kept), tuple(m for _, m in kept), level)


def _reach(
    u: complex, angles_deg: FloatArray, unit: ComplexArray, cap: float, budget: float, most: int
) -> tuple[tuple[float, ...], tuple[float, ...]] | None:
    """Return the angles and amounts that sum to `u` with the least metal, when caps allow."""
    size = abs(u)
    angle = float(np.rad2deg(np.angle(u))) % 360.0
    if size > 2 * min(cap, budget):
        return None
    along = np.abs((angles_deg - angle + 180.0) % 360.0 - 180.0)
    i = int(along.argmin())
    if along[i] < 1e-9 and size <= min(cap, budget):
        return (float(angles_deg[i]),), (size,)
    if most < 2 or angles_deg.size < 2:
        return None
    # u = a unit_i + b unit_j for every pair at once, by cross products
    cross = np.imag(np.conj(unit)[:, None] * unit)
    with_u = np.imag(np.conj(unit) * u)  # unit_i x u
    with np.errstate(divide="ignore", invalid="ignore"):
        a = -with_u[None, :] / cross
        b = with_u[:, None] / cross
        fits = (np.abs(cross) > 1e-9) & (a >= -1e-12) & (b >= -1e-12)
        fits &= (a <= cap) & (b <= cap) & (a + b <= budget)
        least = np.where(fits, a + b, np.inf)  # of all ways, the least metal
    if not fits.any():
        return None
    row, column = np.unravel_index(int(least.argmin()), least.shape)
    return (
        (float(angles_deg[row]), float(angles_deg[column])),
        (float(max(a[row, column], 0.0)), float(max(b[row, column], 0.0))),
    )


def _search_edges(
    points: ComplexArray,
    weights: FloatArray,
    unit: ComplexArray,
    cap: float,
    budget: float,
    most: int,
) -> tuple[list[int], list[float], float] | None:
    """Search the edges of what two cuts reach: start + t * step, t in [0, 1], for each segment."""
    near = _near_best_direction(points, weights, unit, min(2 * cap, budget), most)
    unit = unit[near]
    m = unit.size
    single = min(cap, budget)
    first, second = list(range(m)), list(range(m))
    starts, steps = [0.0 * unit], [single * unit]
    if most > 1 and budget > cap:  # one cut at its cap, the other free
        i, j = np.nonzero(~np.eye(m, dtype=bool))
        starts.append(cap * unit[i])
        steps.append(min(cap, budget - cap) * unit[j])
        first += i.tolist()
        second += j.tolist()
    n_cap = len(first)
    low = max(0.0, budget - cap)
    if most > 1 and budget < 2 * cap:  # the budget shared between two
        i, j = np.nonzero(np.triu(np.ones((m, m), bool), 1))
        starts.append(low * unit[i] + (budget - low) * unit[j])
        steps.append((single - low) * (unit[i] - unit[j]))
        first += i.tolist()
        second += j.tolist()
    start, step = np.concatenate(starts), np.concatenate(steps)
    # a coarse look along every edge, then the best few to the end
    t = np.linspace(0, 1, 4)
    at = start[:, None] + t * step[:, None]
    coarse = _levels(points, weights, at.reshape(-1)).reshape(at.shape)
    order = np.argsort(coarse.min(axis=1))[:16]
    start, step = start[order], step[order]
    amount = _golden(points, weights, start, step)
    level = _levels(points, weights, start + amount * step)
    best = int(level.argmin())
    k, share = int(order[best]), float(amount[best])
    one, other = int(near[first[k]]), int(near[second[k]])
    if k < m:
        return [one], [share * single], float(level[best])
    if k < n_cap:
        return [one, other], [cap, share * min(cap, budget - cap)], float(level[best])
    a = low + share * (single - low)
    return [one, other], [a, budget - a], float(level[best])


def _near_best_direction(
    points: ComplexArray, weights: FloatArray, unit: ComplexArray, reach: float, most: int
) -> NDArray[np.intp]:
    """Return the allowed angles near the best direction at the farthest reach, at most 11."""
    circle = np.exp(1j * np.linspace(0, 2 * np.pi, 72, endpoint=False))
    level = np.minimum(*(_levels(points, weights, r * reach * circle) for r in (1.0, 0.5)))
    best = circle[int(level.argmin())]
    return np.argsort(-np.real(unit * np.conj(best)))[: 11 if most > 1 else 5]


def _levels(points: ComplexArray, weights: FloatArray, at: ComplexArray) -> FloatArray:
    """Return ``max_k weights_k |points_k - at|`` for each of `at`."""
    real = points.real[:, None] - at.real
    imaginary = points.imag[:, None] - at.imag
    squared = (real * real + imaginary * imaginary) * (weights * weights)[:, None]
    return np.sqrt(squared.max(axis=0))


def _golden(
    points: ComplexArray, weights: FloatArray, start: ComplexArray, step: ComplexArray
) -> FloatArray:
    """Return the minimising t in [0, 1] of each segment; the function is convex along it."""

    def level(t: FloatArray) -> FloatArray:
        return _levels(points, weights, start + t * step)

    low, high = np.zeros(start.size), np.ones(start.size)
    x1, x2 = high - _GOLDEN * (high - low), low + _GOLDEN * (high - low)
    f1, f2 = level(x1), level(x2)
    for _ in range(34):
        left = f1 < f2
        high, low = np.where(left, x2, high), np.where(left, low, x1)
        new = np.where(left, high - _GOLDEN * (high - low), low + _GOLDEN * (high - low))
        f_new = level(new)
        x1, x2 = np.where(left, new, x2), np.where(left, x1, new)
        f1, f2 = np.where(left, f_new, f2), np.where(left, f1, f_new)
    ends = np.stack(
        [level(np.zeros(start.size)), level(np.ones(start.size)), level(0.5 * (low + high))]
    )
    choice = ends.argmin(axis=0)
    return np.choose(choice, [np.zeros(start.size), np.ones(start.size), 0.5 * (low + high)])
