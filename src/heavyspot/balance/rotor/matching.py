"""Which parts to put together, and how turned, so that the assembly's unbalance is least.

Parts of an assembly act in nearly the same plane (wheel, shaft end and nut), so their unbalances add as
vectors; turned against each other as wanted, three of them leave ``max(0, largest - the two others)``, with
steps (a hexagon, marks) what the best step leaves. Pairing two kinds is an assignment problem (Hungarian
method, scipy: exact). Pairing three cannot be solved in polynomial time in general: up to six of each, every
pairing is tried; beyond, one kind at a time is assigned from several starts until nothing gains, and a bound says
how far from the best it can be.
"""

from __future__ import annotations

import itertools
from collections.abc import Callable, Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike, NDArray
from scipy.optimize import linear_sum_assignment

from ...quantities.errors import BadInput

FloatArray = NDArray[np.float64]
IntArray = NDArray[np.int64]

STARTS = 6
EXACT_UP_TO = 6
"""Sets of three kinds up to so many of each are solved by trying every pairing."""


@dataclass(frozen=True)
class Match:
    """One assembly.

    Attributes
    ----------
    members : tuple of int
        Index of the part of each kind.
    turned_deg : tuple of float
        By how much each part is turned against rotation from its own mark to the first part's mark.
    residual : complex
        What is left, at the first part's mark.
    """

    members: tuple[int, ...]
    turned_deg: tuple[float, ...]
    residual: complex


@dataclass(frozen=True)
class Matching:
    """All assemblies, the order of the first kind kept.

    Attributes
    ----------
    matches : tuple of Match
    total : float
        Sum of what is left.
    bound : float
        No matching can leave less in all.
    """

    matches: tuple[Match, ...]
    total: float
    bound: float


FINEST_DEG = 0.1
"""A finer step is any angle (common practice, no source)."""


def match_parts(
    kinds: Sequence[ArrayLike], *, steps_deg: Sequence[float] | None = None, seed: int = 0
) -> Matching:
    """Return how to pair and turn parts of two or three kinds.

    Parameters
    ----------
    kinds : sequence of array_like, shape (n,), complex
        Residual unbalance of each part, g·mm, at its own mark; the same number of each kind.
    steps_deg : sequence of float, optional
        Steps in which each kind may be turned; 0 for any angle. The first kind stays as it is.
    seed : int

    Raises
    ------
    BadInput
        Not two or three kinds, numbers differ, a value is not finite, or a step is none.
    """
    parts = [np.atleast_1d(np.asarray(k, complex)) for k in kinds]
    if len(parts) not in (2, 3):
        raise BadInput(f"{len(parts)} kinds of parts.", remedy="Give two or three kinds.")
    n = parts[0].size
    if n == 0 or any(p.size != n for p in parts):
        counts = ", ".join(str(p.size) for p in parts)
        raise BadInput(f"The kinds have {counts} parts.", remedy="Give as many of each kind.")
    with np.errstate(over="ignore", invalid="ignore"):  # what no sum can hold is none either
        whole = sum(np.abs(p).sum() for p in parts)
    if not np.isfinite(whole):
        raise BadInput("An unbalance is not a number.", remedy="Measure that part again.")
    steps = list(steps_deg or [0.0] * len(parts))
    if len(steps) != len(parts) or any(s < 0 or (s and 360 % s) for s in steps):
        raise BadInput("A step does not divide the turn.", remedy="Give 0, or for example 60.")
    if any(0 < s < FINEST_DEG for s in steps):
        raise BadInput("A step is finer than anybody can turn.", remedy="Give 0 for any angle.")
    cost = _pair_cost(steps[1]) if len(parts) == 2 else _triple_cost(steps[1], steps[2])
    order = _assign_two(parts, cost) if len(parts) == 2 else _assign_three(parts, cost, seed)
    matches = tuple(_match(parts, members, steps) for members in order)
    total = float(sum(abs(m.residual) for m in matches))
    return Matching(matches, total, _bound(parts, cost))


Cost = Callable[..., FloatArray]


def _turned(step_deg: float) -> NDArray[np.complex128] | None:
    """Return the turns a step allows; None for any angle."""
    if step_deg == 0:
        return None
    return np.asarray(np.exp(1j * np.deg2rad(np.arange(0, 360, step_deg))))


def _pair_cost(step: float) -> Cost:
    turns = _turned(step)

    def cost(a: ArrayLike, b: ArrayLike) -> FloatArray:
        one, two = np.asarray(a), np.asarray(b)
        if turns is None:
            return np.asarray(np.abs(np.abs(one) - np.abs(two)))
        best = np.full(np.broadcast_shapes(one.shape, two.shape), np.inf)
        for turn in turns:
            best = np.minimum(best, np.abs(one + two * turn))
        return best

    return cost


def _triple_cost(step_two: float, step_three: float) -> Cost:
    two_turns, three_turns = _turned(step_two), _turned(step_three)

    def cost(a: ArrayLike, b: ArrayLike, c: ArrayLike) -> FloatArray:
        one, two, three = np.asarray(a), np.asarray(b), np.asarray(c)
        if two_turns is None and three_turns is None:
            sizes = np.abs(one), np.abs(two), np.abs(three)
            largest = np.maximum(np.maximum(*sizes[:2]), sizes[2])
            return np.asarray(np.maximum(0.0, 2 * largest - sum(sizes)))
        if two_turns is None:  # turn the stepped one first, the free one cancels what it can
            one, two, three, turns, other = one, three, two, three_turns, None
        else:
            turns, other = two_turns, three_turns
        assert turns is not None
        shape = np.broadcast_shapes(one.shape, two.shape, three.shape)
        best = np.full(shape, np.inf)
        for turn in turns:
            pair = one + two * turn
            if other is None:
                best = np.minimum(best, np.abs(np.abs(pair) - np.abs(three)))
            else:
                for again in other:
                    best = np.minimum(best, np.abs(pair + three * again))
        return best

    return cost


def _assign_two(parts: list[NDArray[np.complex128]], cost: Cost) -> list[tuple[int, ...]]:
    rows, columns = linear_sum_assignment(cost(parts[0][:, None], parts[1][None]))
    return [(int(r), int(c)) for r, c in zip(rows, columns, strict=True)]


def _assign_three(
    parts: list[NDArray[np.complex128]], cost: Cost, seed: int
) -> list[tuple[int, ...]]:
    n = parts[0].size
    if n <= EXACT_UP_TO:
        return _exact_three(parts, cost)
    rng = np.random.default_rng(seed)
    best: tuple[float, IntArray, IntArray] | None = None
    sizes = [np.argsort(np.abs(p)) for p in parts]
    for start in range(STARTS):
        two, three = np.empty(n, np.int64), np.empty(n, np.int64)
        if start == 0:  # large with large: they can cancel each other
            two[sizes[0]], three[sizes[0]] = sizes[1], sizes[2]
        elif start == 1:
            two[sizes[0]], three[sizes[0]] = sizes[1], sizes[2][::-1]
        else:
            two, three = rng.permutation(n), rng.permutation(n)
        total, two, three = _improved(parts, cost, two, three)
        if best is None or total < best[0] - 1e-12:
            best = total, two, three
        if best[0] <= 1e-12:
            break
    assert best is not None
    return [(i, int(best[1][i]), int(best[2][i])) for i in range(n)]


def _exact_three(parts: list[NDArray[np.complex128]], cost: Cost) -> list[tuple[int, ...]]:
    """Every pairing of the first two kinds, each with its best third."""
    a, b, c = parts
    every = cost(a[:, None, None], b[None, :, None], c[None, None])
    rows = np.arange(a.size)
    best: tuple[float, IntArray, IntArray] | None = None
    for order in itertools.permutations(range(a.size)):
        two = np.array(order)
        table = every[rows, two]
        three = linear_sum_assignment(table)[1]
        total = float(table[rows, three].sum())
        if best is None or total < best[0]:
            best = total, two, three
    assert best is not None
    return [(int(i), int(best[1][i]), int(best[2][i])) for i in rows]


def _improved(
    parts: list[NDArray[np.complex128]], cost: Cost, two: IntArray, three: IntArray
) -> tuple[float, IntArray, IntArray]:
    """Assign one kind at a time until nothing gains."""
    a, b, c = parts
    total = float(cost(a, b[two], c[three]).sum())
    while True:
        before = total
        three = linear_sum_assignment(cost(a[:, None], b[two][:, None], c[None]))[1]
        two = linear_sum_assignment(cost(a[:, None], b[None], c[three][:, None]))[1]
        # the pairs of the second and third kind as they are, given to other firsts
        pairs = linear_sum_assignment(cost(a[:, None], b[two][None], c[three][None]))[1]
        two, three = two[pairs], three[pairs]
        total = float(cost(a, b[two], c[three]).sum())
        if total >= before - 1e-12:
            return total, np.asarray(two), np.asarray(three)


def _match(
    parts: list[NDArray[np.complex128]], members: tuple[int, ...], steps: list[float]
) -> Match:
    u = [p[i] for p, i in zip(parts, members, strict=True)]
    if len(u) == 2:
        turn = _best_turn(u[0], u[1], steps[1])
        return Match(members, (0.0, turn), complex(u[0] + u[1] * _phasor(turn)))
    best: Match | None = None
    for turn in _turns_to_try(u, steps):
        pair = u[0] + u[1] * _phasor(turn)
        last = _best_turn(complex(pair), u[2], steps[2])
        left = complex(pair + u[2] * _phasor(last))
        if best is None or abs(left) < abs(best.residual) - 1e-15:
            best = Match(members, (0.0, turn, last), left)
    assert best is not None
    return best


def _turns_to_try(u: list[complex], steps: list[float]) -> list[float]:
    if steps[1]:
        return list(np.arange(0.0, 360.0, steps[1]))
    if steps[2]:  # the third in steps: for each, the second cancels what it can
        wanted = [u[0] + u[2] * _phasor(t) for t in np.arange(0.0, 360.0, steps[2])]
        return [_best_turn(complex(w), u[1], 0.0) for w in wanted]
    sizes = [abs(x) for x in u]
    if min(sizes[:2]) == 0:
        return [0.0]
    # close the triangle: the pair must be as large as the third, or as near to it as can be
    want = np.clip(sizes[2], abs(sizes[0] - sizes[1]), sizes[0] + sizes[1])
    cosine = (want**2 - sizes[0] ** 2 - sizes[1] ** 2) / (2 * sizes[0] * sizes[1])
    apart = float(np.rad2deg(np.arccos(np.clip(cosine, -1, 1))))
    own = float(np.rad2deg(np.angle(u[0]) - np.angle(u[1])))
    return [(own + apart) % 360.0]


def _best_turn(fixed: complex, free: complex, step: float) -> float:
    """Return the turn of `free` that leaves least beside `fixed`, degrees."""
    if step:
        turns = np.arange(0.0, 360.0, step)
        return float(turns[np.argmin(np.abs(fixed + free * np.exp(1j * np.deg2rad(turns))))])
    if abs(free) == 0 or abs(fixed) == 0:
        return 0.0
    return float((np.rad2deg(np.angle(fixed) - np.angle(free)) + 180.0) % 360.0)


def _phasor(deg: float) -> complex:
    return complex(np.exp(1j * np.deg2rad(deg)))


def _bound(parts: list[NDArray[np.complex128]], cost: Cost) -> float:
    """Return a sum that no matching goes below.

    Two kinds: the assignment is exact. Three: no part can be cancelled by more than the largest of the
    others, and in all no kind by more than the two others together.
    """
    if len(parts) == 2:
        pairs = cost(parts[0][:, None], parts[1][None])
        rows, columns = linear_sum_assignment(pairs)
        return float(pairs[rows, columns].sum())
    sizes = [np.abs(p) for p in parts]
    bounds = [0.0]
    for i in range(3):
        others = [sizes[j].max() for j in range(3) if j != i]
        bounds.append(float(np.maximum(0.0, sizes[i] - sum(others)).sum()))
        rest = sum(float(sizes[j].sum()) for j in range(3) if j != i)
        bounds.append(float(sizes[i].sum()) - rest)
    return max(bounds)
