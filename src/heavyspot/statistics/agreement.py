"""Do two rigs agree? Differences against means, after J.M. Bland and D.G. Altman (Lancet, 1986)."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from ..quantities.errors import BadInput

LEAST = 3


@dataclass(frozen=True)
class Agreement:
    """How two rigs agree on the same pieces.

    Attributes
    ----------
    mean : float
        Of first minus second.
    sd : float
    low, high : float
        95 in 100 differences lie between these (normal distribution).
    mean_u : float
        Standard uncertainty of the mean.
    n : int
    """

    mean: float
    sd: float
    low: float
    high: float
    mean_u: float
    n: int

    @property
    def differs(self) -> bool:
        """Whether the mean difference is more than chance explains (two standard uncertainties)."""
        return abs(self.mean) > 2.0 * self.mean_u


def agreement(first: Sequence[float], second: Sequence[float]) -> Agreement:
    """Return how two rigs agree; raises `BadInput` for fewer than three pairs."""
    a, b = np.asarray(first, float), np.asarray(second, float)
    if len(a) != len(b) or len(a) < LEAST or not np.isfinite(a - b).all():
        raise BadInput(
            f"{min(len(a), len(b))} pieces measured on both tell nothing.",
            remedy=f"Measure at least {LEAST} pieces on both rigs; ten tell more.",
        )
    d = a - b
    mean, sd = float(d.mean()), float(d.std(ddof=1))
    return Agreement(mean, sd, mean - 1.96 * sd, mean + 1.96 * sd, sd / math.sqrt(len(d)), len(d))
