"""Does a balancing machine tell the truth: the three tests after ISO 21940-21.

Procedures and limits are from memory (ISO 21940-21, ex ISO 2953): check them against the standard before
relying on them. Every limit is a parameter.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike, NDArray

from ...quantities.errors import BadInput

FloatArray = NDArray[np.float64]

POSITIONS_DEG = tuple(30.0 * k for k in range(12))
"""Twelve positions, every 30 degrees."""

MASS_OVER_LEAST = 10.0
"""Test mass of the residual test: ten times the claimed least unbalance."""

RATIO_BAND = (0.88, 1.12)
"""Readings over their mean."""

MAY_REPEAT = 1
"""Points of a plane that may lie outside before the test has failed; such a point is repeated."""

USUAL_REDUCTION = 0.95
"""A usual claim for the unbalance reduction ratio."""

COMPENSATOR_SHARE = 0.02
"""Largest reading after indexing, as a share of the compensated amount (ours)."""


@dataclass(frozen=True)
class ProofPoint:
    """One reading of a proof: where, what was read, what is allowed, whether it holds."""

    at_deg: float
    value: float
    low: float
    high: float

    @property
    def inside(self) -> bool:
        """Whether it lies within its limits."""
        return self.low <= self.value <= self.high


@dataclass(frozen=True)
class Proof:
    """A proof of one plane.

    Attributes
    ----------
    kind : str
        residual, reduction or compensator.
    points : tuple of ProofPoint
    passed : bool
    text : str
    """

    kind: str
    points: tuple[ProofPoint, ...]
    passed: bool
    text: str

    @property
    def outside(self) -> list[float]:
        """Positions whose reading lies outside, degrees."""
        return [p.at_deg for p in self.points if not p.inside]


def residual_test(
    amounts: ArrayLike,
    positions_deg: ArrayLike = POSITIONS_DEG,
    *,
    band: tuple[float, float] = RATIO_BAND,
) -> Proof:
    """Return whether a machine reaches its claimed minimum achievable residual unbalance (one plane).

    The rotor is balanced as well as the machine allows; then a mass of ten times the claimed residual is
    stepped round and read. With no more than the claim left, every reading stays near their mean.

    Parameters
    ----------
    amounts : array_like, shape (n,), n >= 6
        Amount read with the mass at each position, any unit.

    Raises
    ------
    BadInput
        Too few readings, one not above zero, or positions not evenly spread.
    """
    read = np.atleast_1d(np.asarray(amounts, float))
    at = np.atleast_1d(np.asarray(positions_deg, float))
    if read.shape != at.shape or read.size < 6:
        raise BadInput(
            f"{read.size} readings for {at.size} positions.",
            remedy="Step the mass round all positions.",
        )
    if not (np.isfinite(read).all() and (read > 0).all()):
        raise BadInput(
            "A reading is not above zero.", remedy="Is a sensor dead? Read that position again."
        )
    if abs(np.exp(1j * np.deg2rad(at)).sum()) > 1e-3 * at.size:
        raise BadInput("The positions are not evenly spread.", remedy="Use 0, 30, 60 and so on.")
    ratio = read / read.mean()
    points = tuple(ProofPoint(float(a), float(r), *band) for a, r in zip(at, ratio, strict=True))
    outside = sum(not p.inside for p in points)
    spread = f"readings from {ratio.min():.3f} to {ratio.max():.3f} of their mean"
    if not outside:
        return Proof("residual", points, True, f"All within {band[0]} to {band[1]}: {spread}.")
    if outside <= MAY_REPEAT:
        where = next(p.at_deg for p in points if not p.inside)
        text = f"One point, at {where:.0f} degrees, lies outside: repeat it; {spread}."
        return Proof("residual", points, False, text)
    return Proof("residual", points, False, f"{outside} points lie outside: {spread}.")


def reduction_test(
    readings: ArrayLike,
    stationary: complex,
    travelling: ArrayLike,
    *,
    least_gmm: float,
    claimed: float = USUAL_REDUCTION,
) -> Proof:
    """Return whether a machine's single correction reduces unbalance as claimed (one plane).

    A stationary mass and a travelling one at known places; each vector read must lie within a circle round
    the true one of radius ``(1 - claim) * resultant + least``.

    Parameters
    ----------
    readings : array_like, shape (n,), complex
        Vectors read, g·mm.
    stationary : complex
        g·mm.
    travelling : array_like, shape (n,), complex
        g·mm, at each position.
    least_gmm : float
        Claimed minimum achievable residual.
    """
    read = np.atleast_1d(np.asarray(readings, complex))
    moved = np.atleast_1d(np.asarray(travelling, complex))
    if read.shape != moved.shape or read.size < 3:
        raise BadInput(
            f"{read.size} readings for {moved.size} positions.",
            remedy="Give one vector for each position.",
        )
    if not 0 < claimed < 1 or least_gmm < 0:
        raise BadInput("The claim is no share.", remedy="Give for example 0.95.")
    true = stationary + moved
    allowed = (1 - claimed) * np.abs(true) + least_gmm
    off = np.abs(read - true)
    at = np.rad2deg(np.angle(moved)) % 360.0
    points = tuple(
        ProofPoint(float(a), float(o), 0.0, float(h))
        for a, o, h in zip(at, off, allowed, strict=True)
    )
    outside = sum(not p.inside for p in points)
    reached = 1 - float(np.median(off / np.maximum(np.abs(true), 1e-300)))
    text = f"Reduction ratio reached, median {100 * reached:.1f} %, claimed {100 * claimed:.0f} %; "
    if outside == 0:
        return Proof("reduction", points, True, text + "all points within their circles.")
    if outside <= MAY_REPEAT:
        return Proof("reduction", points, False, text + "one point outside: repeat it.")
    return Proof("reduction", points, False, text + f"{outside} points outside.")


def compensator_test(
    readings: ArrayLike,
    *,
    compensated_gmm: float,
    least_gmm: float,
    share: float = COMPENSATOR_SHARE,
) -> Proof:
    """Return whether the compensator holds when the rotor is indexed back and forth (one plane).

    Parameters
    ----------
    readings : array_like, shape (n,), complex
        Rotor readings after compensation at alternating 0 and 180 degrees, g·mm; all should agree.
    compensated_gmm : float
        Amount the compensator takes out.
    """
    read = np.atleast_1d(np.asarray(readings, complex))
    if read.size < 4:
        raise BadInput(f"{read.size} readings.", remedy="Index back and forth at least twice.")
    allowed = share * compensated_gmm + least_gmm
    off = np.abs(read - read.mean())
    at = [180.0 * (k % 2) for k in range(read.size)]
    points = tuple(
        ProofPoint(a, float(o), 0.0, float(allowed)) for a, o in zip(at, off, strict=True)
    )
    passed = all(p.inside for p in points)
    text = f"Readings agree within {off.max():.3g} g·mm; {allowed:.3g} is allowed."
    return Proof("compensator", points, passed, text)


def masses_for(least_gmm: float, radius_mm: float) -> dict[str, float]:
    """Return the masses the tests ask for, g: residual test, stationary and travelling.

    Raises
    ------
    BadInput
        A value is not above zero.
    """
    if least_gmm <= 0 or radius_mm <= 0:
        raise BadInput("Claim or radius is not above zero.", remedy="Give both.")
    one = least_gmm / radius_mm
    return {
        "residual_g": MASS_OVER_LEAST * one,
        "stationary_g": 30.0 * one,
        "travelling_g": 150.0 * one,
    }


def passed(proofs: Sequence[Proof]) -> bool:
    """Whether all planes of a proof passed."""
    return bool(proofs) and all(p.passed for p in proofs)
