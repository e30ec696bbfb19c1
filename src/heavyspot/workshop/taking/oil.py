"""The oil of a spin: as a person read it, or as instruments measure it at the moment it begins."""

from __future__ import annotations

from ...quantities.checks import within
from ...quantities.errors import BadInput
from ...sources.devices.slow import SlowChannels

COLDEST_C, HOTTEST_C = -10.0, 180.0
HIGHEST_KPA = 1500.0
"""No oil of a cartridge on a rig is outside these (common practice, no source)."""

Oil = tuple[float | None, float | None]
NO_OIL: Oil = (None, None)


def checked_oil(temperature_c: float | None, pressure_kpa: float | None) -> Oil:
    """Return the oil as read; raises `BadInput` for what no oil can be."""
    if temperature_c is not None:
        within("oil temperature", temperature_c, COLDEST_C, HOTTEST_C, "°C")
    if pressure_kpa is not None:
        within("oil pressure", pressure_kpa, 0.0, HIGHEST_KPA, "kPa")
    return temperature_c, pressure_kpa


def measured_oil(slow: SlowChannels | None) -> Oil:
    """Return the oil as instruments measure it now; None for what nothing measures, or what no oil can be."""
    if slow is None:
        return NO_OIL
    temperature, pressure = slow.now("oil temperature"), slow.now("oil pressure")
    try:
        return checked_oil(
            temperature.value if temperature else None, pressure.value if pressure else None
        )
    except BadInput:  # a broken wire says anything
        return NO_OIL
