"""Whether a chance of passing keeps its word, and what to say instead when it does not.

The share that passed, never falling with the chance computed: isotonic regression (Zadrozny and Elkan,
Transforming classifier scores into accurate multiclass probability estimates, KDD 2002; pool adjacent
violators by scipy), with made-up promises that were kept as computed among the real ones, so that few
real ones change little.
"""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass

import numpy as np
from scipy.optimize import isotonic_regression

AS_COMPUTED = 2.0
"""Promises, in each twentieth of the range, that count as kept exactly as computed."""


@dataclass(frozen=True)
class Keeping:
    """Chance to say for a chance computed: straight lines between points.

    Attributes
    ----------
    computed, happened : tuple of float
        Ascending points; none before anything is on record.
    number : int
        Promises it rests on.
    """

    computed: tuple[float, ...] = ()
    happened: tuple[float, ...] = ()
    number: int = 0

    def said(self, computed: float) -> float:
        """Return the chance to say."""
        if self.number == 0:
            return computed
        return float(np.interp(computed, self.computed, self.happened))


def learn_keeping(promises: Iterable[tuple[float, bool]]) -> Keeping:
    """Return what promises teach.

    Parameters
    ----------
    promises : iterable of (chance computed, whether the next run passed)
    """
    pairs = list(promises)
    if not pairs:
        return Keeping()
    grid = (np.arange(20) + 0.5) / 20
    x = np.concatenate([[c for c, _ in pairs], grid])
    y = np.concatenate([[float(h) for _, h in pairs], grid])
    weights = np.concatenate([np.ones(len(pairs)), np.full(grid.size, AS_COMPUTED)])
    order = np.argsort(x, kind="stable")
    fitted = isotonic_regression(y[order], weights=weights[order]).x
    at, first = np.unique(x[order], return_index=True)
    return Keeping(
        tuple(at), tuple(np.add.reduceat(fitted, first) / np.diff([*first, x.size])), len(pairs)
    )
