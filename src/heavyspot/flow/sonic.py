"""Sonic nozzles: the flow hangs on the state before them only, as long as it is critical."""

from __future__ import annotations

import math
from dataclasses import dataclass

from ..quantities.errors import BadInput
from .air import KAPPA_AIR, Air

CRITICAL = (2.0 / (KAPPA_AIR + 1.0)) ** (KAPPA_AIR / (KAPPA_AIR - 1.0))
"""Pressure in a throat at the speed of sound, over that before it; air."""

SURE_REYNOLDS, LARGEST_DIFFUSER = 2e5, 4.0
"""Reynolds number of the throat from which a diffuser counts, and the area ratio up to which (from memory)."""


@dataclass(frozen=True)
class SonicNozzle:
    """A calibrated nozzle at critical flow (ISO 9300): the flow hangs on the upstream state only.

    Parameters
    ----------
    throat_mm : float
    coefficient : float
        Of its certificate.
    diffuser_mm : float or None
        Diameter where the cone behind the throat ends; None where there is no such cone.

    Raises
    ------
    BadInput
        The diffuser ends no wider than the throat.
    """

    throat_mm: float
    coefficient: float = 0.99
    diffuser_mm: float | None = None

    def __post_init__(self) -> None:
        if self.diffuser_mm is not None and self.diffuser_mm <= self.throat_mm:
            raise BadInput(
                f"The diffuser ends at {self.diffuser_mm:g} mm, the throat has {self.throat_mm:g} mm.",
                remedy="Give the diameter where the cone ends, or leave it out where there is none.",
            )

    def highest_ratio(self, reynolds: float) -> float:
        """Return the highest pressure behind over pressure before at which the flow is surely critical.

        Without a diffuser the throat itself must be critical: ``r* = (2/(k+1))^(k/(k-1))``, 0.528 for air. A
        diffuser recovers pressure: ``r* + 0.8 (r_i - r*)``, with ``r_i`` the ideal ratio at its end, slower than
        sound; counted up to an area ratio of 4, and from a Reynolds number of the throat of 200,000, below which a
        nozzle may lose its critical flow early (ISO 9300:2005, from memory: check the standard).
        """
        if self.diffuser_mm is None or reynolds < SURE_REYNOLDS:
            return CRITICAL
        area = min((self.diffuser_mm / self.throat_mm) ** 2, LARGEST_DIFFUSER)
        return CRITICAL + 0.8 * (ideal_ratio(area) - CRITICAL)

    def mass_flow_kg_s(self, air: Air, downstream_kpa: float, *, checked: bool = True) -> float:
        """Return the mass flow.

        Parameters
        ----------
        checked : bool
            False where the state is that of a reading changed by its uncertainty: the reading itself was checked.

        Raises
        ------
        BadInput
            The pressure behind it is too high for the flow to be critical.
        """
        area = math.pi / 4.0 * (self.throat_mm / 1000.0) ** 2
        function = math.sqrt(KAPPA_AIR) * (2.0 / (KAPPA_AIR + 1.0)) ** (
            (KAPPA_AIR + 1.0) / (2.0 * (KAPPA_AIR - 1.0))
        )
        pressure = 1000.0 * air.pressure_kpa
        flow = self.coefficient * area * function * math.sqrt(pressure * air.density_kg_m3)
        if checked:
            self._check_critical(flow, air, downstream_kpa)
        return flow

    def _check_critical(self, flow: float, air: Air, downstream_kpa: float) -> None:
        reynolds = 4.0 * flow / (math.pi * self.throat_mm / 1000.0 * air.viscosity_pa_s)
        highest = self.highest_ratio(reynolds)
        if downstream_kpa <= highest * air.pressure_kpa:
            return
        remedy = f"Lower it to {highest * air.pressure_kpa:.1f} kPa or less, or raise the pressure before it."
        if self.diffuser_mm is None:
            remedy += " With a diffuser more is allowed: give its diameter."
        raise BadInput(
            f"{downstream_kpa:g} kPa behind the nozzle is more than {highest:.2f} of the {air.pressure_kpa:g} kPa "
            "before it: the flow is not surely critical.",
            remedy=remedy,
        )


def ideal_ratio(area_ratio: float) -> float:
    """Return pressure over stagnation pressure where a critical nozzle has widened by an area ratio, subsonic.

    Isentropic flow of an ideal gas, solved by bisection.
    """
    k = KAPPA_AIR
    low, high = CRITICAL, 1.0
    for _ in range(60):
        ratio = 0.5 * (low + high)
        mach2 = 2.0 / (k - 1.0) * (ratio ** (-(k - 1.0) / k) - 1.0)
        wide = math.inf
        if mach2 > 0:
            base = 2.0 / (k + 1.0) * (1.0 + 0.5 * (k - 1.0) * mach2)
            wide = base ** ((k + 1.0) / (2.0 * (k - 1.0))) / math.sqrt(mach2)
        low, high = (ratio, high) if wide < area_ratio else (low, ratio)
    return 0.5 * (low + high)
