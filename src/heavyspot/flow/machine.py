"""What a compressor or turbine does with a flow: corrected to reference conditions, ratio, efficiency, leaks."""

from __future__ import annotations

import math
from dataclasses import dataclass

from ..quantities.checks import positive
from ..quantities.errors import BadInput
from .air import DRY_KG_MOL, GAS_CONSTANT, KAPPA_AIR, ZERO_C_K


@dataclass(frozen=True)
class Reference:
    """Conditions a flow is corrected to; they differ by maker and are stated on every sheet.

    25 °C and 100 kPa are those of SAE J228 (from a summary).
    """

    temperature_c: float = 25.0
    pressure_kpa: float = 100.0

    def words(self) -> str:
        """Return them in words."""
        return f"{self.temperature_c:g} °C and {self.pressure_kpa:g} kPa"


def corrected_flow(
    flow_kg_s: float, temperature_c: float, pressure_kpa: float, reference: Reference
) -> float:
    """Return m·sqrt(T/Tref)/(p/pref), kg/s."""
    theta = (temperature_c + ZERO_C_K) / (reference.temperature_c + ZERO_C_K)
    return flow_kg_s * math.sqrt(theta) / (pressure_kpa / reference.pressure_kpa)


def corrected_speed(speed_rpm: float, temperature_c: float, reference: Reference) -> float:
    """Return n/sqrt(T/Tref), rpm."""
    return speed_rpm / math.sqrt((temperature_c + ZERO_C_K) / (reference.temperature_c + ZERO_C_K))


def compressor_efficiency(
    inlet_kpa: float, outlet_kpa: float, inlet_c: float, outlet_c: float, kappa: float = KAPPA_AIR
) -> float:
    """Return the isentropic efficiency of a compressor, total to total.

    Raises
    ------
    BadInput
        The air is not warmer behind it, or not compressed.
    """
    ratio = positive("outlet pressure", outlet_kpa) / positive("inlet pressure", inlet_kpa)
    rise = outlet_c - inlet_c
    if ratio <= 1.0 or rise <= 0.0:
        raise BadInput(
            f"A pressure ratio of {ratio:.3f} with {rise:+.1f} K has no efficiency.",
            remedy="Check which sensor is at the inlet and which behind.",
        )
    return (inlet_c + ZERO_C_K) * (ratio ** ((kappa - 1.0) / kappa) - 1.0) / rise


def turbine_efficiency(
    inlet_kpa: float, outlet_kpa: float, inlet_c: float, outlet_c: float, kappa: float = KAPPA_AIR
) -> float:
    """Return the isentropic efficiency of a turbine, total to static; raises as `compressor_efficiency`."""
    ratio = positive("outlet pressure", outlet_kpa) / positive("inlet pressure", inlet_kpa)
    drop = inlet_c - outlet_c
    if ratio >= 1.0 or drop <= 0.0:
        raise BadInput(
            f"An expansion ratio of {1 / ratio:.3f} with {-drop:+.1f} K has no efficiency.",
            remedy="Check which sensor is at the inlet and which behind.",
        )
    return drop / ((inlet_c + ZERO_C_K) * (1.0 - ratio ** ((kappa - 1.0) / kappa)))


def leak_kg_s(
    volume_l: float, from_kpa: float, to_kpa: float, seconds: float, temperature_c: float
) -> float:
    """Return a leak from the pressure a closed volume loses in a time (ideal gas, constant temperature).

    Raises
    ------
    BadInput
        No time, or the pressure rose.
    """
    positive("volume", volume_l)
    positive("time", seconds)
    if to_kpa > from_kpa:
        raise BadInput(
            f"The pressure rose from {from_kpa:g} to {to_kpa:g} kPa.",
            remedy="Wait until the temperature is steady, then test again.",
        )
    return leak_of_loss(volume_l, from_kpa - to_kpa, seconds, temperature_c)


def leak_of_loss(volume_l: float, lost_kpa: float, seconds: float, temperature_c: float) -> float:
    """Return a leak, kg/s, from the pressure that was lost, kPa, of either sign."""
    gas = GAS_CONSTANT / DRY_KG_MOL
    mass = volume_l * lost_kpa / (gas * (temperature_c + ZERO_C_K))  # l·kPa = J
    return mass / seconds
