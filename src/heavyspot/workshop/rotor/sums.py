"""Sums of the trade in the units people have: what may stay of a rotor's unbalance."""

from __future__ import annotations

from dataclasses import dataclass

from ...balance.rotor.tolerance import four_w_over_n_gmm, permissible_gmm
from ...quantities.units import kg_from, unbalance_from_gmm


@dataclass(frozen=True)
class Tolerance:
    """What may stay of a rigid rotor.

    Attributes
    ----------
    grade : float
        Balance quality grade G, mm/s (ISO 21940-11).
    mass_kg, speed_rpm : float
    permissible_gmm : float
        Of the whole rotor, g·mm.
    specific_um : float
        The same over the mass: g·mm/kg, which is µm.
    four_w_over_n_gmm : float
        By the 4W/N rule, a plane, with half the rotor on each journal; g·mm.
    """

    grade: float
    mass_kg: float
    speed_rpm: float
    permissible_gmm: float
    specific_um: float
    four_w_over_n_gmm: float

    def permissible(self, unit: str = "g·mm") -> float:
        """Return what may stay of the whole rotor: ``g·mm``, ``oz-in``, ``g·in``, ``lb-in`` or ``kg·mm``."""
        return unbalance_from_gmm(self.permissible_gmm, unit)

    def four_w_over_n(self, unit: str = "g·mm") -> float:
        """Return what may stay in a plane by the 4W/N rule, in a unit as `permissible` has them."""
        return unbalance_from_gmm(self.four_w_over_n_gmm, unit)


def tolerance(
    mass: float, speed_rpm: float, grade: float = 6.3, *, mass_unit: str = "kg"
) -> Tolerance:
    """Return what may stay of a rigid rotor's unbalance, by grade and by the 4W/N rule.

    Source: ISO 21940-11:2016 (``U = 9549 G m / n``); 4W/N after API practice, from memory.

    Parameters
    ----------
    mass : float
        Of the rotor, > 0.
    speed_rpm : float
        Highest service speed, rpm, > 0.
    grade : float
        G, mm/s, > 0.
    mass_unit : str
        ``kg``, ``g``, ``lb`` or ``oz``.

    Raises
    ------
    BadInput
        A value is not above 0, or the unit is not known.

    Examples
    --------
    >>> t = tolerance(100, 3600, 2.5, mass_unit="lb")
    >>> round(t.permissible("oz-in"), 4), round(t.four_w_over_n("oz-in"), 4)
    (0.4177, 0.0556)
    """
    kg = kg_from(mass, mass_unit)
    total = permissible_gmm(kg, speed_rpm, grade)
    return Tolerance(grade, kg, speed_rpm, total, total / kg, four_w_over_n_gmm(kg / 2, speed_rpm))
