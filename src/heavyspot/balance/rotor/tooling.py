"""What arbor, fixture, key, runout and clearance add to a reading, and how to take it out again.

Methods: ISO 21940-14 (index balancing, errors) and ISO 21940-32 (half key), from memory; check the standards.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike, NDArray

from ...quantities.errors import BadInput


@dataclass(frozen=True)
class Indexed:
    """Rotor and fixture told apart.

    Attributes
    ----------
    rotor : complex
        In the reading's unit, on the rotor.
    fixture : complex
        As it stands at index 0, on the rotor.
    standard : float
        Standard uncertainty of a component of either.
    scatter : float
        Standard deviation of a component of one reading, from what the fit leaves; 0 with two readings.
    """

    rotor: complex
    fixture: complex
    standard: float
    scatter: float


def index_method(
    readings: ArrayLike, index_deg: ArrayLike, *, reading_standard: float = 0.0
) -> Indexed:
    """Return rotor and fixture from readings with the rotor turned on its fixture.

    Turned by an index against rotation, the fixture shows at its angle less the index: ``V = R + F e^(-j index)``;
    least squares for any number of positions (two at 180 degrees: half the sum and half the difference).

    Parameters
    ----------
    readings : array_like, shape (n,), complex
        Angles on the rotor.
    index_deg : array_like, shape (n,)
    reading_standard : float
        Stated standard uncertainty of a component of one reading; the larger of it and the scatter counts.

    Raises
    ------
    BadInput
        Fewer than two positions, or all at one index.
    """
    v = np.atleast_1d(np.asarray(readings, complex))
    at = np.deg2rad(np.atleast_1d(np.asarray(index_deg, float)))
    if v.shape != at.shape or v.size < 2:
        raise BadInput(
            f"{v.size} readings for {at.size} positions.",
            remedy="Give one reading for each of two or more.",
        )
    rows = _index_rows(at)
    if np.linalg.svd(rows, compute_uv=False)[1] < 0.1:
        raise BadInput(
            "The positions are too near each other to tell rotor and fixture apart.",
            remedy="Turn the rotor by 180 degrees, or step it evenly round the turn.",
        )
    inverse = np.linalg.inv(rows.conj().T @ rows)
    rotor, fixture = inverse @ (rows.conj().T @ v)
    left = v - rows @ np.array([rotor, fixture])
    free = 2 * (v.size - 2)
    scatter = float(np.sqrt((np.abs(left) ** 2).sum() / free)) if free else 0.0
    unit = float(np.sqrt(inverse[0, 0].real))
    return Indexed(complex(rotor), complex(fixture), max(scatter, reading_standard) * unit, scatter)


def index_covariance(
    readings: ArrayLike, index_deg: ArrayLike, *, reading: ArrayLike
) -> NDArray[np.complex128]:
    """Return the covariance of a component of the fixture (or of the rotor) in all planes, (planes, planes).

    Parameters
    ----------
    readings : array_like, shape (planes, n), complex
        As `index_method` takes them, one row a plane; a column was read at once.
    index_deg : array_like, shape (n,)
    reading : array_like, shape (planes, planes)
        Stated covariance of a component of one reading; the larger of it and the scatter counts.
    """
    v = np.atleast_2d(np.asarray(readings, complex))
    rows = _index_rows(np.deg2rad(np.asarray(index_deg, float)))
    inverse = np.linalg.inv(rows.conj().T @ rows)
    stated = np.asarray(reading, complex)
    free = v.shape[1] - 2
    if free > 0:
        left = v - v @ (rows @ inverse @ rows.conj().T).T
        scatter = left @ left.conj().T / (2 * free)
        if np.trace(scatter).real > np.trace(stated).real:
            stated = scatter
    return np.asarray(stated * inverse[0, 0].real)


def _index_rows(at_rad: NDArray[np.float64]) -> NDArray[np.complex128]:
    return np.stack([np.ones(at_rad.size), np.exp(-1j * at_rad)], axis=1)


def compensated(reading: complex, fixture: complex, index_deg: float = 0.0) -> complex:
    """Return a reading without its fixture, at the index it was taken."""
    return complex(reading - fixture * np.exp(-1j * np.deg2rad(index_deg)))


def runout_gmm(mass_kg: float, runout_mm: float) -> float:
    """Return the unbalance of a mass that runs out, g·mm: mass times half the dial's reading."""
    if mass_kg <= 0 or runout_mm < 0:
        raise BadInput(
            "Mass or runout is below zero.", remedy="Give the part's mass and the dial's reading."
        )
    return mass_kg * 1e3 * runout_mm / 2


def clearance_gmm(mass_kg: float, clearance_mm: float) -> float:
    """Return the most that a fit's diametral clearance may add, g·mm: mass times half of it."""
    return runout_gmm(mass_kg, clearance_mm)


def half_key_gmm(key_mass_g: float, shaft_radius_mm: float, *, key_height_mm: float) -> float:
    """Return the error when a full key was used where the convention asks for half of one, g·mm.

    The upper half of the key, its centre a quarter of its height over the shaft (ISO 21940-32, from memory).
    """
    if min(key_mass_g, shaft_radius_mm, key_height_mm) <= 0:
        raise BadInput(
            "Key or shaft have no size.", remedy="Give mass, height and radius above zero."
        )
    return 0.5 * key_mass_g * (shaft_radius_mm + key_height_mm / 4)


@dataclass(frozen=True)
class Contribution:
    """One source of error: an amount that may lie at any angle, g·mm (largest, not standard)."""

    name: str
    amount_gmm: float


def budget(contributions: Sequence[Contribution]) -> tuple[float, float]:
    """Return root sum of squares and plain sum, g·mm (ISO 21940-14: likely, and at most)."""
    amounts = np.array([c.amount_gmm for c in contributions])
    if amounts.size == 0 or (amounts < 0).any():
        raise BadInput("There is no contribution.", remedy="Name at least one, zero or more.")
    return float(np.sqrt((amounts**2).sum())), float(amounts.sum())
