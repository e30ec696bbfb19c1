"""The chance that what was accepted is not good, from the shop's own pieces (JCGM 106:2012, ILAC G8:09/2019).

True ratios to the limit are taken as lognormal: never negative, and skewed as the last runs of balanced pieces are.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike, NDArray
from scipy.special import ndtr

from ..quantities.errors import BadInput

FloatArray = NDArray[np.float64]

LEAST_PIECES = 20
"""Pieces from which on a shop's own distribution is spoken of."""

_GRID = np.linspace(-6.0, 6.0, 2001)


@dataclass(frozen=True)
class Population:
    """True ratios to the limit of a shop's pieces as they left: mean and spread of the logarithm, and how many."""

    log_mean: float
    log_spread: float
    pieces: int


def population(ratios: ArrayLike, u_share: float) -> Population:
    """Return what measured ratios say of the true ones: their scatter without that of the measurement.

    Parameters
    ----------
    ratios : array_like, shape (pieces,)
        Measured, each piece's last run.
    u_share : float
        Standard uncertainty of a measurement, as a share of it.

    Raises
    ------
    BadInput
        Fewer than `LEAST_PIECES` pieces.
    """
    x = np.log(np.asarray(ratios, float))
    if x.size < LEAST_PIECES:
        raise BadInput(
            f"{x.size} pieces are too few for a risk.", remedy=f"From {LEAST_PIECES} on it is told."
        )
    spread = np.sqrt(max(float(x.var(ddof=1)) - u_share**2, 1e-6))
    return Population(float(x.mean()), float(spread), int(x.size))


def accepted_though_over(of: Population, u_share: float, pass_k: float) -> float:
    """Return the share of all pieces that pass and are over the limit (consumer's risk, JCGM 106 9.5.2).

    A pass keeps clear of the limit by `pass_k` standard uncertainties.
    """
    true, weight = _true(of)
    # measured = true (1 + u z) passes when measured (1 + k u) <= 1
    passes = ndtr((1.0 / (1.0 + pass_k * u_share) / true - 1.0) / u_share)
    return float((weight * passes)[true > 1.0].sum())


def over_though_passed(of: Population, ratio: float, u_share: float) -> float:
    """Return the chance that one piece is over the limit, after its measured ratio (JCGM 106 7.3.2)."""
    true, weight = _true(of)
    likely = weight * np.exp(-0.5 * ((ratio - true) / (u_share * true)) ** 2) / true
    return float(likely[true > 1.0].sum() / max(float(likely.sum()), 1e-300))


def _true(of: Population) -> tuple[FloatArray, FloatArray]:
    weight = np.exp(-0.5 * _GRID**2)
    return np.exp(of.log_mean + of.log_spread * _GRID), weight / weight.sum()
