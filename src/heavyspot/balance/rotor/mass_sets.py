"""Whole masses of a set at fixed places: which, how many, where.

A technician uses two or three places, and so does this: among the places nearest to the wanted angle every
three are tried, each with every content that fits, the third found by its nearest amounts. A correction too
large for three places fills others first, as the linear split shares it.
"""

from __future__ import annotations

import itertools
from collections.abc import Iterator
from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike, NDArray

from ...quantities.errors import BadInput
from .places import checked_places, split_over

FloatArray = NDArray[np.float64]
IntArray = NDArray[np.int64]

NEAREST = 6
"""Places nearest to the wanted angle that are tried, three at a time."""

MOST_CONTENTS = 260
"""Contents of a place that are tried; of more, those whose amounts are evenly spread."""

SLACK = 0.02
"""How near two residuals must be, as a share of the smallest mass, for the lighter set to win."""


@dataclass(frozen=True)
class Counts:
    """Whole masses at places.

    Attributes
    ----------
    counts : ndarray, shape (places, masses), int
    residual : complex
    """

    counts: IntArray
    residual: complex


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
        A mass is not positive, no place takes one, or the stock does not fit.
    """
    angles, _ = checked_places(places_deg, np.inf)
    masses = np.atleast_1d(np.asarray(each, float))
    if masses.size == 0 or not (masses > 0).all() or most_at_place < 1:
        raise BadInput("A mass of the set is not above zero.", remedy="Give each mass as a number.")
    have = np.full(masses.size, most_at_place * angles.size)
    if stock is not None:
        have = np.asarray(stock)
        if have.shape != masses.shape or (have < 0).any():
            raise BadInput(
                "The stock does not fit the masses.", remedy="Give a count for each mass."
            )
    contents = _contents(masses, most_at_place, have, scarce=stock is not None)
    counts = np.zeros((angles.size, masses.size), np.int64)
    counts, have = _filled(wanted, angles, contents, masses, counts, have)
    left = complex(wanted - (counts @ masses * np.exp(1j * angles)).sum())
    free = np.flatnonzero(~counts.any(axis=1))
    apart = np.abs(np.angle(np.exp(1j * angles[free]) * np.conj(left or 1.0)))
    near = free[np.argsort(apart, kind="stable")[:NEAREST]]
    best = _best_three(left, near, angles, contents, masses, have, enough)
    for place, content in best:
        counts[place] = content
    return Counts(counts, complex(wanted - (counts @ masses * np.exp(1j * angles)).sum()))


def _contents(masses: FloatArray, most: int, have: NDArray[np.int64], *, scarce: bool) -> IntArray:
    """Return what may be at one place, (k, masses), ascending by amount, the empty one first.

    Of contents with one amount the one with fewest pieces is kept, unless masses are scarce.
    """
    tops = [range(min(most, int(h)) + 1) for h in have]
    found = np.array(
        [c for c in itertools.product(*tops) if sum(c) <= most] if np.prod([len(t) for t in tops]) < 3e5
        else [c for c in _few(len(tops), most) if all(n <= h for n, h in zip(c, have, strict=True))],
        dtype=np.int64,
    )  # fmt: skip
    amounts = found @ masses
    found = found[np.lexsort((found.sum(axis=1), amounts.round(9)))]
    if not scarce:
        _, first = np.unique((found @ masses).round(9), return_index=True)
        found = found[first]
    if found.shape[0] > MOST_CONTENTS:
        amounts = found @ masses
        spread = np.linspace(0, amounts[-1], MOST_CONTENTS)
        found = found[np.unique(np.searchsorted(amounts, spread))]
    return found


def _few(kinds: int, most: int) -> Iterator[tuple[int, ...]]:
    """Yield contents of at most two kinds of mass, for sets too rich to list."""
    for one, two in itertools.combinations_with_replacement(range(kinds), 2):
        for a in range(most + 1):
            for b in range(most - a + 1 if two != one else 1):
                content = [0] * kinds
                content[one], content[two] = content[one] + a, content[two] + b
                yield tuple(content)


def _filled(
    wanted: complex,
    angles: FloatArray,
    contents: IntArray,
    masses: FloatArray,
    counts: IntArray,
    have: NDArray[np.int64],
) -> tuple[IntArray, NDArray[np.int64]]:
    """Fill places of a correction that three cannot hold; the three largest shares stay open."""
    amounts = contents @ masses
    most = float(amounts[-1])
    apart = np.sort(np.cos(angles - np.angle(wanted)))[::-1]
    if abs(wanted) <= 0.9 * most * apart[:2].clip(0).sum() or angles.size <= 3:
        return counts, have
    shares = split_over(wanted, np.rad2deg(angles), most_each=most).amounts
    for place in np.argsort(-shares)[3:]:
        fits = (contents <= have).all(axis=1)
        k = np.flatnonzero(fits)[np.argmin(np.abs(amounts[fits] - shares[place]))]
        counts[place] = contents[k]
        have = have - contents[k]
    return counts, have


def _best_three(
    wanted: complex,
    near: NDArray[np.intp],
    angles: FloatArray,
    contents: IntArray,
    masses: FloatArray,
    have: NDArray[np.int64],
    enough: float,
) -> list[tuple[int, IntArray]]:
    """Return place and content of up to three places."""
    amounts = contents @ masses
    k = amounts.size
    first, second = (g.ravel() for g in np.meshgrid(np.arange(k), np.arange(k), indexing="ij"))
    tried = []  # residual, amount, and which: arrays of each three
    size = min(3, near.size)
    for three in itertools.combinations(range(near.size), size):
        places = near[list(three)]
        turns = np.exp(1j * angles[places])
        pair = amounts[first] * turns[0] + (amounts[second] * turns[1] if size > 1 else 0)
        rest = wanted - pair
        along = (rest * np.conj(turns[-1])).real if size == 3 else np.zeros(k * k)
        at = np.searchsorted(amounts, along)
        for step in (-2, -1, 0, 1) if size == 3 else (0,):
            third = np.clip(at + step, 0, k - 1) if size == 3 else np.zeros(k * k, int)
            left = np.abs(rest - amounts[third] * turns[-1]) if size == 3 else np.abs(rest)
            total = contents[first] + contents[second] + contents[third]
            left = np.where((total <= have).all(axis=1), left, np.inf)
            heavy = amounts[first] + amounts[second] + amounts[third]
            tried.append((places, third, left, heavy))
    least = min(float(left.min()) for _, _, left, _ in tried)
    allowed = max(least + SLACK * float(masses.min()), enough)
    best: tuple[float, list[tuple[int, IntArray]]] = (np.inf, [])
    for places, third, left, heavy in tried:
        within = np.where(left <= allowed, heavy + 1e-3 * left, np.inf)
        i = int(np.argmin(within))
        if within[i] < best[0]:
            which = [first[i], second[i], third[i]][: places.size]
            best = (
                float(within[i]),
                [(int(p), contents[w]) for p, w in zip(places, which, strict=True)],
            )
    return best[1]
