"""The uncertainty budget of an amplitude: its parts, and the factor that makes them a statement."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Literal

import numpy as np
from numpy.typing import NDArray

FloatArray = NDArray[np.float64]


MANY = 1e6
"""Degrees of freedom from which on Student's t is the normal distribution."""


@dataclass(frozen=True)
class Part:
    """One part of a budget.

    Attributes
    ----------
    source : str
        ``noise``, ``repeat_study``, ``repeat_assumed`` or ``calibration``.
    kind : "A" or "B"
        By statistics of readings, or by other knowledge (GUM 3.3.4).
    standard_g : float
        What it adds to the amplitude, g.
    share : float or None
        The value behind it, as a share of the amplitude; its sensitivity coefficient is then the amplitude.
    degrees : float or None
        Of freedom; None where it is taken as known.
    """

    source: str
    kind: Literal["A", "B"]
    standard_g: float
    share: float | None = None
    degrees: float | None = None


@dataclass(frozen=True)
class Shares:
    """What of an amplitude's uncertainty goes with the amplitude.

    Attributes
    ----------
    repeat, calibration : float
        Standard deviations, as shares.
    repeat_degrees : float or None
        Of freedom behind `repeat`; None when it is assumed.
    studied : bool
        Whether `repeat` is the rig's own study's, or assumed.
    """

    repeat: float
    calibration: float
    repeat_degrees: float | None = None
    studied: bool = False

    def parts(self, amplitude_g: float, noise_g: float) -> tuple[Part, ...]:
        """Return the budget of one amplitude."""
        source = "repeat_study" if self.studied else "repeat_assumed"
        kind: Literal["A", "B"] = "A" if self.studied else "B"
        return (
            Part("noise", "A", noise_g),
            Part(source, kind, self.repeat * amplitude_g, self.repeat, self.repeat_degrees),
            Part("calibration", "B", self.calibration * amplitude_g, self.calibration),
        )

    def degrees(self, amplitude_g: FloatArray, noise_g: FloatArray) -> FloatArray:
        """Return each amplitude's effective degrees of freedom (Welch-Satterthwaite, GUM G.4.1)."""
        if self.repeat_degrees is None:
            return np.full(np.shape(amplitude_g), np.inf)
        repeat = self.repeat * amplitude_g
        total = noise_g**2 + repeat**2 + (self.calibration * amplitude_g) ** 2
        with np.errstate(divide="ignore"):
            return np.asarray(total**2 * self.repeat_degrees / np.maximum(repeat, 1e-300) ** 4)


def factor(k: float, degrees: FloatArray | float) -> FloatArray:
    """Return what a normal factor becomes with so many degrees of freedom: the same chance by Student's t.

    >>> factor(2.0, np.array([8.0, np.inf])).round(2).tolist()
    [2.37, 2.0]
    """
    nu = np.asarray(degrees, float)
    if (nu > MANY).all():
        return np.full(nu.shape, k)
    # a quarter of a second that most commands need not wait
    from scipy.special import ndtr, stdtrit

    return np.where(nu > MANY, k, stdtrit(np.minimum(nu, MANY), ndtr(k)))
