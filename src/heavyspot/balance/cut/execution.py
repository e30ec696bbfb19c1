"""How well cuts are made: the spread of what the vectors saw against what was recorded.

Each cut gives an error seen through its own uncertainty. The spread is the most probable one over a
row of values (a normal variance component, marginal likelihood, as in any text on random effects, for
example Searle, Casella and McCulloch, Variance Components (1992), chapter 9), with the usual spread
counting as ten cuts; an error beyond four times what is expected counts as four (a wrong entry).
"""

from __future__ import annotations

import numpy as np
from numpy.typing import ArrayLike

USUAL_WEIGHT = 10.0
"""Cuts that the usual spread counts for."""

FARTHEST = 4.0
"""Errors count up to so many expected standard deviations."""


def learn_spread(
    errors: ArrayLike, noise: ArrayLike, usual: float, *, weight: float = USUAL_WEIGHT
) -> float:
    """Return the standard deviation of an error.

    Parameters
    ----------
    errors : array_like, shape (cuts,)
        As seen, each the true error plus its own noise.
    noise : array_like, shape (cuts,)
        Standard uncertainty of each.
    usual : float
        What is believed before any cut; also sets the range searched, a fifth to four times of it.
    """
    y, tau = np.asarray(errors, float), np.asarray(noise, float)
    if y.size == 0:
        return usual
    spread = usual * np.geomspace(0.2, 4.0, 120)[:, None]
    variance = spread**2 + tau**2
    off = np.minimum(y**2 / variance, FARTHEST**2)
    fit = -0.5 * (np.log(variance) + off).sum(axis=1)
    prior = -0.5 * weight * (2 * np.log(spread[:, 0]) + (usual / spread[:, 0]) ** 2)
    return float(spread[np.argmax(fit + prior), 0])
