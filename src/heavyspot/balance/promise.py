"""Whether a chance of passing keeps its word, and what to say instead when it does not.

A logistic line between the chance computed and what happened (Platt scaling: J. Platt, in Advances in
Large Margin Classifiers, MIT Press 1999; two numbers, found by Newton's method), shrunk to "as
computed" while few promises are on record.
"""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass

import numpy as np

SHIFT_SD, SLOPE_SD = 1.0, 0.3
"""How far off the computed chances may be before any were kept or broken: standard deviations."""

LEAST = 0.005
"""Nearer than this to 0 or 1 no number of draws can tell."""


@dataclass(frozen=True)
class Keeping:
    """Chance to say for a chance computed: ``logit(said) = shift + slope logit(computed)``.

    Attributes
    ----------
    shift, slope : float
    number : int
        Promises it rests on.
    """

    shift: float = 0.0
    slope: float = 1.0
    number: int = 0

    def said(self, computed: float) -> float:
        """Return the chance to say."""
        if self.number == 0:
            return computed
        return float(1 / (1 + np.exp(-(self.shift + self.slope * _logit(np.array(computed))))))


def learn_keeping(promises: Iterable[tuple[float, bool]]) -> Keeping:
    """Return what promises teach.

    Parameters
    ----------
    promises : iterable of (chance computed, whether the next run passed)
    """
    pairs = list(promises)
    if not pairs:
        return Keeping()
    x = _logit(np.array([c for c, _ in pairs]))
    y = np.array([float(h) for _, h in pairs])
    rows = np.stack([np.ones(x.size), x], axis=1)
    usual, precision = np.array([0.0, 1.0]), np.array([SHIFT_SD**-2, SLOPE_SD**-2])
    b = usual.copy()
    for _ in range(25):
        p = 1 / (1 + np.exp(-rows @ b))
        gradient = rows.T @ (y - p) - precision * (b - usual)
        curvature = (rows * (p * (1 - p))[:, None]).T @ rows + np.diag(precision)
        step = np.linalg.solve(curvature, gradient)
        b = b + np.clip(step, -1.0, 1.0)
        if np.abs(step).max() < 1e-9:
            break
    # a larger chance must never be said to be a smaller one
    return Keeping(float(b[0]), max(0.2, float(b[1])), len(pairs))


def _logit(p: np.ndarray) -> np.ndarray:
    q = np.clip(p, LEAST, 1 - LEAST)
    return np.asarray(np.log(q / (1 - q)))
