"""The simulated rig and the simulated low-speed machine as sources of recordings."""

from __future__ import annotations

import numpy as np

from ..signal.mark.reference import ReferenceSettings
from ..sim.cartridge import Cartridge
from ..sim.spin import FULL_SCALE_V, SENSITIVITY_V_PER_G, Spin, SpinSettings, spin
from ..sim.supports import LooseRotor, MachineSettings, measure
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


MACHINE = "simulated low-speed machine"

MACHINE_FULL_SCALE_N = 2000.0

MACHINE_CHANNELS = (
    Channel("support A", "force", "N", MACHINE_FULL_SCALE_N),
    Channel("support B", "force", "N", MACHINE_FULL_SCALE_N),
    Channel("mark", "phase", "V", 10.0, reference=ReferenceSettings("pulse")),
)


def simulated_rotor_recording(
    rotor: LooseRotor, seed: int, settings: MachineSettings | None = None
) -> Recording:
    """Return the recording of a simulated rotor on a simulated low-speed machine, turning clockwise."""
    s = settings or MachineSettings()
    samples = measure(rotor, seed, s) / np.array([MACHINE_FULL_SCALE_N, MACHINE_FULL_SCALE_N, 10.0])
    return from_array(
        samples.astype(np.float32),
        channels=MACHINE_CHANNELS,
        sample_rate_hz=s.sample_rate_hz,
        rotation="clockwise",
        rig=MACHINE,
    )
