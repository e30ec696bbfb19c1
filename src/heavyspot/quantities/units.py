"""The only unit converters. Inside the program every name carries its unit and nothing converts."""

from __future__ import annotations

import math

from .errors import BadInput

G_N = 9.80665
"""Standard acceleration of gravity, m/s² (exact; CGPM 1901, quoted by NIST)."""

OUNCE_G = 28.349523125
INCH_MM = 25.4
POUND_KG = 0.45359237
"""Avoirdupois pound, ounce and inch: exact (NIST SP 811, appendix B.8)."""
OZ_IN_GMM = OUNCE_G * INCH_MM

MASS_IN_KG = {"kg": 1.0, "g": 1e-3, "lb": POUND_KG, "oz": OUNCE_G * 1e-3}

UNBALANCE_IN_GMM = {
    "g·mm": 1.0, "gmm": 1.0, "kg·mm": 1e3, "g·in": INCH_MM, "oz-in": OZ_IN_GMM, "oz·in": OZ_IN_GMM,
    "lb-in": 1e3 * POUND_KG * INCH_MM, "lb·in": 1e3 * POUND_KG * INCH_MM,
}  # fmt: skip

ACCELERATION_IN_G = {"g": 1.0, "m/s²": 1 / G_N, "m/s2": 1 / G_N, "m/s^2": 1 / G_N}
"""Acceleration units a channel may state -> factor to g."""

_TIME_HZ = 1.0 / 60.0


def kg_from(mass: float, unit: str) -> float:
    """Return a mass in kg; raises `BadInput` for a unit that is not known.

    >>> kg_from(2, "lb")
    0.90718474
    """
    return mass * _factor(MASS_IN_KG, unit)


def unbalance_from_gmm(amount_gmm: float, unit: str) -> float:
    """Return an unbalance in another unit; raises `BadInput` for one that is not known.

    >>> round(unbalance_from_gmm(720.0778872, "oz-in"), 6)
    1.0
    """
    return amount_gmm / _factor(UNBALANCE_IN_GMM, unit)


def _factor(units: dict[str, float], unit: str) -> float:
    if unit not in units:
        raise BadInput(f"Unit {unit!r} is not known.", remedy="Known: " + ", ".join(units) + ".")
    return units[unit]


def hz_from_rpm(speed_rpm: float) -> float:
    """Return turns per second."""
    return speed_rpm * _TIME_HZ


def omega_from_rpm(speed_rpm: float) -> float:
    """Return the angular speed, rad/s."""
    return speed_rpm * math.pi / 30.0


def velocity_mm_s_from_acceleration_m_s2(acceleration: float, frequency_hz: float) -> float:
    """Return the velocity amplitude, mm/s, of a sine of that acceleration amplitude, m/s²."""
    return 1e3 * acceleration / (2 * math.pi * frequency_hz)


def displacement_um_from_acceleration_m_s2(acceleration: float, frequency_hz: float) -> float:
    """Return the displacement amplitude, µm, of a sine of that acceleration amplitude, m/s²."""
    return 1e6 * acceleration / (2 * math.pi * frequency_hz) ** 2


def force_n(unbalance_gmm: float, speed_rpm: float) -> float:
    """Return the rotating force, N, of an unbalance: ``F = U omega²``."""
    return unbalance_gmm * 1e-6 * omega_from_rpm(speed_rpm) ** 2


def tip_speed_m_s(diameter_mm: float, speed_rpm: float) -> float:
    """Return the speed of a wheel's tip, m/s: ``v = pi D n / 60``."""
    return math.pi * diameter_mm * 1e-3 * hz_from_rpm(speed_rpm)


def sensitivity_v_per_unit(value: float, unit: str) -> tuple[float, str]:
    """Return a sensitivity as volts per unit, and that unit.

    Parameters
    ----------
    value : float
        For example ``100``.
    unit : str
        ``mV/...`` or ``V/...`` of g, m/s², mm/s, N, rpm, kPa, °C or %; for example ``"mV/g"``.

    Raises
    ------
    BadInput
        The unit is not of that form, or the value is 0 or not finite.

    Examples
    --------
    >>> sensitivity_v_per_unit(100, "mV/g")
    (0.1, 'g')
    """
    electrical, _, physical = unit.partition("/")
    scale = {"mV": 1e-3, "V": 1.0}.get(electrical.strip())
    physical = physical.strip()
    if physical.startswith("(") and physical.endswith(")"):
        physical = physical[1:-1]
    known = {*ACCELERATION_IN_G, "rpm", "kPa", "°C", "%", "N", "mm/s"}
    if scale is None or physical not in known:
        raise BadInput(
            f"sensitivity unit is {unit!r}.",
            remedy='Give it like "mV/g" or "mV/(m/s²)"; known: ' + ", ".join(sorted(known)) + ".",
        )
    if not math.isfinite(value) or value == 0:
        raise BadInput(f"sensitivity is {value}.", remedy="Give the value on the certificate.")
    return value * scale, physical
