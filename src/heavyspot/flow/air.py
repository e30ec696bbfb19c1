"""Humid air: density by CIPM-2007, viscosity by Sutherland, the isentropic exponent.

Sources: A. Picard et al., Revised formula for the density of moist air (CIPM-2007), Metrologia 45 (2008)
149 (constants from memory, checked against an independent library in the tests); W. Sutherland's formula with the
constants of most handbooks (1.716e-5 Pa s at 273.15 K, 110.4 K).
"""

from __future__ import annotations

import math
from dataclasses import dataclass

from ..quantities.checks import finite, positive
from ..quantities.errors import BadInput

GAS_CONSTANT = 8.314472
"""J/(mol K), as CIPM-2007 uses it."""

DRY_KG_MOL = 28.96546e-3
WATER_KG_MOL = 18.01528e-3
ZERO_C_K = 273.15
KAPPA_AIR = 1.4


@dataclass(frozen=True)
class Air:
    """Air at one place of a bench.

    Parameters
    ----------
    pressure_kpa : float
        Absolute, over 10.
    temperature_c : float
        Between -40 and 200.
    humidity : float
        Relative, 0 to 1.

    Raises
    ------
    BadInput
        A value is out of range.
    """

    pressure_kpa: float
    temperature_c: float
    humidity: float = 0.0

    def __post_init__(self) -> None:
        positive("pressure", self.pressure_kpa)
        finite("temperature", self.temperature_c)
        if not 10.0 <= self.pressure_kpa <= 2000.0:
            raise BadInput(
                f"{self.pressure_kpa:g} kPa is no absolute pressure of a flow bench.",
                remedy="Between 10 and 2,000 kPa absolute; add the barometer to a gauge reading.",
            )
        if not -40.0 <= self.temperature_c <= 200.0:
            raise BadInput(
                f"{self.temperature_c:g} °C is no air of a flow bench.",
                remedy="Between -40 and 200 °C.",
            )
        if not 0.0 <= self.humidity <= 1.0:
            raise BadInput(
                f"A relative humidity of {self.humidity:g} is impossible.",
                remedy="Between 0 and 1.",
            )

    @property
    def temperature_k(self) -> float:
        """Absolute temperature."""
        return self.temperature_c + ZERO_C_K

    @property
    def water_share(self) -> float:
        """Mole fraction of water vapour."""
        t, p = self.temperature_k, 1000.0 * self.pressure_kpa
        saturation = math.exp(
            1.2378847e-5 * t * t - 1.9121316e-2 * t + 33.93711047 - 6.3431645e3 / t
        )
        enhanced = 1.00062 + 3.14e-8 * p + 5.6e-7 * self.temperature_c**2
        return min(1.0, self.humidity * enhanced * saturation / p)

    @property
    def compressibility(self) -> float:
        """How far it is from an ideal gas."""
        t, c, p, x = (
            self.temperature_k,
            self.temperature_c,
            1000.0 * self.pressure_kpa,
            self.water_share,
        )
        first = (
            1.58123e-6 - 2.9331e-8 * c + 1.1043e-10 * c * c
            + (5.707e-6 - 2.051e-8 * c) * x + (1.9898e-4 - 2.376e-6 * c) * x * x
        )  # fmt: skip
        return 1.0 - p / t * first + (p / t) ** 2 * (1.83e-11 - 0.765e-8 * x * x)

    @property
    def density_kg_m3(self) -> float:
        """Density."""
        dry = 1000.0 * self.pressure_kpa * DRY_KG_MOL
        dry /= self.compressibility * GAS_CONSTANT * self.temperature_k
        return dry * (1.0 - self.water_share * (1.0 - WATER_KG_MOL / DRY_KG_MOL))

    @property
    def viscosity_pa_s(self) -> float:
        """Dynamic viscosity; vapour is left out, which costs under 1 % below 40 °C."""
        t = self.temperature_k
        return 1.716e-5 * (t / 273.15) ** 1.5 * (273.15 + 110.4) / (t + 110.4)
