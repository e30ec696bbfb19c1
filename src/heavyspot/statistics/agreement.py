"""Do two rigs agree? Differences against means, after J.M. Bland and D.G. Altman (Lancet, 1986).

With the factors of small samples: their 1.96 knows the spread, which a few pieces do not tell.
"""

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
        The next difference lies between these 95 times in 100 (normal distribution): `prediction_factor` standard
        deviations off the mean.
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
        """Whether the mean difference is more than chance explains, 95 in 100 (Student's t)."""
        return abs(self.mean) > student(self.n - 1) * self.mean_u


def student(degrees: float, covered: float = 0.95) -> float:
    """Return Student's factor that covers a share of cases, two-sided (GUM, table G.2)."""
    from scipy.special import stdtrit

    return float(stdtrit(degrees, 0.5 + 0.5 * covered))


def prediction_factor(n: int) -> float:
    """Return ``t sqrt(1 + 1/n)``: between so many standard deviations off their mean the next of n values lies.

    The prediction interval of a normal distribution, 95 times in 100 (any textbook; G.J. Hahn and W.Q. Meeker,
    Statistical Intervals, 1991). 1.96 for many, 4.97 for three.
    """
    return student(n - 1) * math.sqrt(1.0 + 1.0 / n)


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
    n = len(d)
    half = prediction_factor(n) * sd
    return Agreement(mean, sd, mean - half, mean + half, sd / math.sqrt(n), n)
