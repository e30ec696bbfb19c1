"""A rigid rotor on two supports: forces, planes, transfers, and the kinds of unbalance.

Everything is statics of a rigid body (any handbook on balancing machines; ISO 21940-2 for the words): a
set of unbalances in planes acts like any other with the same resultant and the same moment.
Positions are along the shaft in mm, from any zero, increasing from support A towards support B.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Literal

import numpy as np
from numpy.typing import ArrayLike, NDArray

from ...quantities.errors import BadInput
from ...quantities.units import omega_from_rpm

ComplexArray = NDArray[np.complex128]
FloatArray = NDArray[np.float64]
Unbalance = Literal["none", "static", "quasi-static", "couple", "dynamic"]

NEGLIGIBLE = 0.05
"""Share of the whole below which the static or the couple part is not worth a word."""


@dataclass(frozen=True)
class RotorGeometry:
    """Where a rotor's supports, correction planes and centre of mass lie, mm.

    Attributes
    ----------
    support_a_mm, support_b_mm : float
    planes_mm : (float, float)
        Correction planes 1 and 2; outside the supports for overhung rotors.
    mass_centre_mm : float or None
    shaft_mm : (float, float) or None
        Ends of the shaft, where known: no plane lies beyond them.

    Raises
    ------
    BadInput
        Supports or planes coincide, are out of order, or lie beyond the shaft.
    """

    support_a_mm: float
    support_b_mm: float
    planes_mm: tuple[float, float]
    mass_centre_mm: float | None = None
    shaft_mm: tuple[float, float] | None = None

    def __post_init__(self) -> None:
        known = [self.support_a_mm, self.support_b_mm, *self.planes_mm]
        known += [] if self.mass_centre_mm is None else [self.mass_centre_mm]
        if not np.isfinite(known).all():
            raise BadInput("A position is not a number.", remedy="Give positions in mm.")
        if self.support_b_mm - self.support_a_mm < 1e-6:
            raise BadInput(
                f"Support B ({self.support_b_mm:g} mm) does not lie after support A ({self.support_a_mm:g} mm).",
                remedy="Measure positions along the shaft from A towards B.",
            )
        if self.planes_mm[1] - self.planes_mm[0] < 1e-6:
            raise BadInput(
                f"Plane 2 ({self.planes_mm[1]:g} mm) does not lie after plane 1 ({self.planes_mm[0]:g} mm).",
                remedy="Give the plane nearer to A's side first; two planes cannot be one.",
            )
        if self.shaft_mm is not None:
            first, last = self.shaft_mm
            for name, at in zip(
                ("support A", "support B", "plane 1", "plane 2"), known, strict=False
            ):
                if not first <= at <= last:
                    raise BadInput(
                        f"{name.capitalize()} at {at:g} mm lies beyond the shaft ({first:g} to {last:g} mm).",
                        remedy="Measure it again.",
                    )

    @classmethod
    def from_abc(cls, a_mm: float, b_mm: float, c_mm: float) -> RotorGeometry:
        """Return the geometry from a (A to plane 1), b (plane 1 to 2) and c (plane 2 to B).

        A plane outside its support has a negative a or c.
        """
        return cls(0.0, a_mm + b_mm + c_mm, (a_mm, a_mm + b_mm))

    @property
    def supports_mm(self) -> tuple[float, float]:
        """Positions of both supports."""
        return self.support_a_mm, self.support_b_mm

    @property
    def arrangement(
        self,
    ) -> Literal["inboard", "overhung at A", "overhung at B", "overhung at both"]:
        """Where the planes lie beside the supports."""
        one, two = self.planes_mm[0] < self.support_a_mm, self.planes_mm[1] > self.support_b_mm
        both_b = self.planes_mm[0] > self.support_b_mm
        both_a = self.planes_mm[1] < self.support_a_mm
        if one and two and not (both_a or both_b):
            return "overhung at both"
        if one or both_a:
            return "overhung at A"
        return "overhung at B" if two or both_b else "inboard"


def transfer(amounts: ArrayLike, from_mm: ArrayLike, to_mm: tuple[float, float]) -> ComplexArray:
    """Return the unbalance in two other planes that acts the same.

    Parameters
    ----------
    amounts : array_like, shape (..., planes), complex
        Unbalance in each plane.
    from_mm : array_like, shape (planes,)
    to_mm : (float, float)

    Returns
    -------
    ndarray, shape (..., 2), complex128

    Raises
    ------
    BadInput
        The two planes are one.
    """
    return np.asarray(np.asarray(amounts, complex) @ lever_matrix(from_mm, to_mm).T)


def lever_matrix(from_mm: ArrayLike, to_mm: tuple[float, float]) -> FloatArray:
    """Return the matrix, (2, planes), that `transfer` multiplies by."""
    x = np.atleast_1d(np.asarray(from_mm, float))
    one, two = to_mm
    if abs(two - one) < 1e-9:
        raise BadInput("The two planes are one.", remedy="Give two planes apart from each other.")
    return np.stack([(two - x) / (two - one), (x - one) / (two - one)])


def support_unbalance(amounts: ArrayLike, geometry: RotorGeometry) -> ComplexArray:
    """Return the unbalance at supports A and B, (..., 2): force over the square of angular speed."""
    return transfer(amounts, geometry.planes_mm, geometry.supports_mm)


def plane_unbalance(at_supports: ArrayLike, geometry: RotorGeometry) -> ComplexArray:
    """Return the unbalance in planes 1 and 2, (..., 2), of what the supports feel."""
    return transfer(at_supports, geometry.supports_mm, geometry.planes_mm)


def unbalance_from_force(force_n: ArrayLike, speed_rpm: float) -> ComplexArray:
    """Return unbalance, g·mm, of rotating forces; raises `BadInput` at zero speed."""
    if not np.isfinite(speed_rpm) or speed_rpm <= 0:
        raise BadInput(
            f"The speed is {speed_rpm:g} rpm.", remedy="A rotor has to turn to be measured."
        )
    return np.asarray(np.asarray(force_n, complex) / omega_from_rpm(speed_rpm) ** 2 * 1e6)


@dataclass(frozen=True)
class Parts:
    """What a pair of unbalances is made of.

    Attributes
    ----------
    static : complex
        Resultant, g·mm.
    couple : complex
        Moment about the centre of mass, g·mm².
    kind : str
        none, static, quasi-static, couple or dynamic.
    at_mm : float or None
        For static and quasi-static unbalance: where the one plane lies that holds it all.
    """

    static: complex
    couple: complex
    kind: Unbalance
    at_mm: float | None


def parts_of(amounts: ArrayLike, planes_mm: ArrayLike, mass_centre_mm: float) -> Parts:
    """Return static and couple part of unbalance in planes, and what kind it is.

    Static: all in the centre of mass. Quasi-static: one unbalance elsewhere on the axis. Couple: no
    resultant. Dynamic: anything else (ISO 21940-2).
    """
    u = np.atleast_1d(np.asarray(amounts, complex))
    x = np.atleast_1d(np.asarray(planes_mm, float)) - mass_centre_mm
    static, couple = complex(u.sum()), complex((u * x).sum())
    arm = max(float(np.ptp(x)), 1e-12)
    size = float(np.abs(u).sum())
    if size == 0:
        return Parts(0j, 0j, "none", None)
    if abs(static) < NEGLIGIBLE * size:
        return Parts(static, couple, "couple", None)
    if abs(couple) < NEGLIGIBLE * size * arm:
        return Parts(static, couple, "static", mass_centre_mm)
    offset = couple / static
    if abs(offset.imag) < NEGLIGIBLE * arm:
        return Parts(static, couple, "quasi-static", mass_centre_mm + offset.real)
    return Parts(static, couple, "dynamic", None)


def couple_pair(couple: complex, planes_mm: tuple[float, float]) -> ComplexArray:
    """Return the pair of opposite unbalances in two planes that makes a couple, (2,)."""
    one, two = planes_mm
    if abs(two - one) < 1e-9:
        raise BadInput("The two planes are one.", remedy="Give two planes apart from each other.")
    return np.array([-couple, couple], np.complex128) / (two - one)
