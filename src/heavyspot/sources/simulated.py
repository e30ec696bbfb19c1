"""The simulated rig as a source of recordings."""

from __future__ import annotations

from ..signal.reference import ReferenceSettings
from ..sim.cartridge import Cartridge
from ..sim.spin import FULL_SCALE_V, SENSITIVITY_V_PER_G, Spin, SpinSettings, spin
from .recording import Channel, Recording, from_array

RIG = "simulated rig"

CHANNELS = (
    Channel(
        "housing",
        "acceleration",
        "V",
        FULL_SCALE_V,
        (1e3 * SENSITIVITY_V_PER_G, "mV/g"),
        "simulated accelerometer",
        clock=3.0,
    ),
    Channel("pickup", "phase", "V", FULL_SCALE_V, clock=12.0, reference=ReferenceSettings()),
)


def simulated_recording(
    unit: Cartridge, seed: int, settings: SpinSettings | None = None
) -> Recording:
    """Return the recording of one spin of a simulated cartridge, turning clockwise."""
    made: Spin = spin(unit, seed, settings)
    return from_array(
        made.samples,
        channels=CHANNELS,
        sample_rate_hz=made.sample_rate_hz,
        rotation="clockwise",
        rig=RIG,
    )
