"""How much unbalance may stay: ISO 21940-11 grades, 4W/N, shares of planes, and the verdict.

Formulae and constants: ISO 21940-11:2016 (clauses from memory, check against the standard); 4W/N after API
practice. Amounts in g·mm, specific amounts in g·mm/kg (the same number as µm).
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Literal

import numpy as np

from ...quantities.errors import BadInput
from ...quantities.units import omega_from_rpm
from ..limits import Verdict
from ..uncertainty import COVERAGE_K
from .rigid import RotorGeometry, lever_matrix

GRADES = (0.4, 1.0, 2.5, 6.3, 16.0, 40.0, 100.0, 250.0, 630.0, 1600.0, 4000.0)
"""Balance quality grades G, mm/s (ISO 21940-11:2016, table 1)."""

INBOARD_SHARES, OUTBOARD_SHARES = (0.3, 0.7), (0.3, 1.3)
"""Least and largest share of a bearing plane (ISO 21940-11:2016, 7.2, from memory: check the standard)."""

NEGLECTED_ERROR = 0.05
"""Errors up to this share of the limit may be neglected (ISO 21940-14, from memory)."""

Rule = Literal["grade", "residual", "4W/N"]


def permissible_gmm(mass_kg: float, speed_rpm: float, grade: float) -> float:
    """Return the permissible residual unbalance of the whole rotor, g·mm (ISO 21940-11, 6.3).

    ``U = 1000 G m / Omega``, that is ``9549 G m / n``.
    """
    _positive(mass_kg, "Mass", "kg")
    _positive(speed_rpm, "Service speed", "rpm")
    _positive(grade, "Grade", "mm/s")
    return 1000.0 * grade * mass_kg / omega_from_rpm(speed_rpm)


def grade_of(residual_gmm: float, mass_kg: float, speed_rpm: float) -> float:
    """Return the grade, mm/s, that a residual unbalance amounts to."""
    _positive(mass_kg, "Mass", "kg")
    _positive(speed_rpm, "Service speed", "rpm")
    return residual_gmm * omega_from_rpm(speed_rpm) / (1000.0 * mass_kg)


def four_w_over_n_gmm(journal_load_kg: float, speed_rpm: float) -> float:
    """Return the permissible residual of one plane by the 4W/N rule, g·mm: ``6350 W / N``.

    Parameters
    ----------
    journal_load_kg : float
        Static load on the nearer journal (not the rotor's mass).
    """
    _positive(journal_load_kg, "Journal load", "kg")
    _positive(speed_rpm, "Greatest continuous speed", "rpm")
    # 4 W[lb] / N in oz·in
    return 4.0 * (journal_load_kg / 0.45359237) / speed_rpm * 28.349523125 * 25.4


def journal_loads_kg(mass_kg: float, geometry: RotorGeometry) -> tuple[float, float]:
    """Return the static load on supports A and B, kg.

    Raises
    ------
    BadInput
        The centre of mass is not known.
    """
    share = _shares(geometry)
    return float(mass_kg * share[0]), float(mass_kg * share[1])


def _shares(geometry: RotorGeometry) -> tuple[float, float]:
    at = geometry.mass_centre_mm
    if at is None:
        raise BadInput(
            "The centre of mass is not stated.", remedy="Give its position along the shaft."
        )
    one, two = lever_matrix([at], geometry.supports_mm)[:, 0]
    return float(one), float(two)


def bearing_limits_gmm(total_gmm: float, geometry: RotorGeometry) -> tuple[float, float]:
    """Return the permissible residual in each bearing plane (ISO 21940-11, 7.2, shares from memory).

    The plane nearer to the centre of mass gets the larger share; a share is held between 0.3 and 0.7,
    with the centre of mass outside the supports between 0.3 and 1.3.
    """
    one, two = _shares(geometry)
    low, high = INBOARD_SHARES if 0 <= one <= 1 else OUTBOARD_SHARES
    return (
        float(total_gmm * np.clip(one, low, high)),
        float(total_gmm * np.clip(two, low, high)),
    )


def plane_limits_gmm(
    bearing_gmm: tuple[float, float], geometry: RotorGeometry
) -> tuple[float, float]:
    """Return limits for the correction planes that hold both bearings whatever the angles are.

    The planes share as their bearings do; with the worst angles ``|l11| U1 + |l12| U2`` stays within the
    limit of bearing A, and the same for B. On the safe side of ISO 21940-11, 7.3: where angles are known,
    the verdict is made in the bearing planes themselves.
    """
    levers = np.abs(lever_matrix(geometry.planes_mm, geometry.supports_mm))
    wanted = np.array(bearing_gmm)
    worst = levers @ wanted
    scale = float((wanted / worst).min())
    return float(wanted[0] * scale), float(wanted[1] * scale)


@dataclass(frozen=True)
class PlaneVerdict:
    """One tolerance plane.

    Attributes
    ----------
    name : str
    residual : complex
        g·mm.
    uncertainty_gmm : float
        Expanded, k = 2.
    limit_gmm : float
    verdict : "pass", "fail" or "undecided"
    """

    name: str
    residual: complex
    uncertainty_gmm: float
    limit_gmm: float
    verdict: Verdict

    @property
    def ratio(self) -> float:
        """Residual over limit."""
        return abs(self.residual) / self.limit_gmm


@dataclass(frozen=True)
class RotorVerdict:
    """All tolerance planes: fail if one fails, pass if all pass."""

    planes: tuple[PlaneVerdict, ...]

    @property
    def verdict(self) -> Verdict:
        """Return the verdict on the rotor."""
        all_ = {p.verdict for p in self.planes}
        return "fail" if "fail" in all_ else "undecided" if "undecided" in all_ else "pass"

    @property
    def worst(self) -> PlaneVerdict:
        """Return the plane nearest to its limit or farthest over it."""
        return max(self.planes, key=lambda p: p.ratio)


def judge_residual(
    names: Sequence[str],
    residual: Sequence[complex],
    standard_gmm: Sequence[float],
    limits_gmm: Sequence[float],
) -> RotorVerdict:
    """Return the verdict with the allowance for errors (ISO 21940-14, from memory).

    Pass when ``|U| <= limit - dU``, fail when ``|U| > limit + dU``, else undecided, with ``dU`` the expanded
    uncertainty (k = 2); up to 5 % of the limit it is neglected.

    Parameters
    ----------
    standard_gmm : sequence of float
        Standard uncertainty of each component.
    """
    out = []
    for name, u, s, limit in zip(names, residual, standard_gmm, limits_gmm, strict=True):
        _positive(limit, f"Limit of {name}", "g·mm")
        error = COVERAGE_K * s
        counted = error if error > NEGLECTED_ERROR * limit else 0.0
        size = abs(u)
        verdict: Verdict = (
            "pass" if size <= limit - counted else "fail" if size > limit + counted else "undecided"
        )
        out.append(PlaneVerdict(name, complex(u), float(error), float(limit), verdict))
    return RotorVerdict(tuple(out))


def _positive(value: float, name: str, unit: str) -> None:
    if not np.isfinite(value) or value <= 0:
        raise BadInput(f"{name} is {value:g} {unit}.", remedy="Give a value above zero.")
