"""How one run of a piece differs from the next over speed, without a cut between."""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from .history import History

ComplexArray = NDArray[np.complex128]

SHAPE_LENGTH = 0.12
"""Over which a run may differ from the next one, as a share of the speed range: a resonance's width or so."""


def slope_of(history: History, vector: ComplexArray) -> ComplexArray:
    """Return what a vector gains, g, where its sensor's speed axis is stretched by one: ``dV/dln(speed)``, (n,)."""
    out = np.zeros_like(vector)
    for i in np.unique(history.sensor):
        mine = history.sensor == i
        rpm = history.speed_rpm[mine]
        if rpm.size > 1:
            out[mine] = rpm * np.gradient(vector[mine], rpm)
    return out
