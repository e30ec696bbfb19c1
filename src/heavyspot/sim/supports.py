"""A simulated low-speed machine: a rigid rotor on two stiff supports, force sensors, a mark.

Forces are found from the equilibrium of the turning rotor, written out as force and moment about each support.
"""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray


@dataclass(frozen=True)
class LooseRotor:
    """A rigid rotor with unbalance in any number of planes.

    Attributes
    ----------
    mass_kg : float
    supports_mm : (float, float)
    unbalance : tuple of (position in mm, complex g·mm)
    """

    mass_kg: float
    supports_mm: tuple[float, float]
    unbalance: tuple[tuple[float, complex], ...]

    def forces_n(self, speed_rpm: float) -> NDArray[np.complex128]:
        """Return the rotating force on supports A and B, N, (2,)."""
        omega = speed_rpm * np.pi / 30
        a, b = self.supports_mm
        pulls = [(x, u * 1e-6 * omega**2) for x, u in self.unbalance]
        on_b = sum((f * (x - a) for x, f in pulls), 0j) / (b - a)  # moments about A
        on_a = sum((f for _, f in pulls), 0j) - on_b
        return np.array([on_a, on_b])

    def with_more(self, at_mm: float, unbalance: complex) -> LooseRotor:
        """Return the rotor with unbalance added at a place."""
        return replace(self, unbalance=(*self.unbalance, (at_mm, complex(unbalance))))


@dataclass(frozen=True)
class MachineSettings:
    """How the machine is run, and how good it is.

    Attributes
    ----------
    speed_rpm : float
    drift_share : float
        Change of the speed over the recording.
    seconds : float
    sample_rate_hz : float
    noise_n : float
        Broad-band noise of each sensor, N rms.
    repeat_share : float
        Run-to-run scatter of each sensor (standard deviation, complex component).
    dead : int or None
        A sensor that gives nothing.
    """

    speed_rpm: float = 800.0
    drift_share: float = 0.03
    seconds: float = 20.0
    sample_rate_hz: float = 5_120.0
    noise_n: float = 0.01
    repeat_share: float = 0.005
    dead: int | None = None


def measure(rotor: LooseRotor, seed: int, settings: MachineSettings) -> NDArray[np.float32]:
    """Return samples, (n, 3): force at A and B in N, and the mark's pulse."""
    s = settings
    rng = np.random.default_rng([seed, 31])
    n = round(s.seconds * s.sample_rate_hz)
    t = np.arange(n) / s.sample_rate_hz
    speed = s.speed_rpm * (1 + s.drift_share * (t / s.seconds - 0.5))
    turns = np.cumsum(speed) / 60 / s.sample_rate_hz + rng.random()
    theta = 2 * np.pi * turns
    repeat = 1 + s.repeat_share * (rng.standard_normal(2) + 1j * rng.standard_normal(2))
    at_mean = rotor.forces_n(s.speed_rpm) * repeat
    out = np.empty((n, 3))
    for i in range(2):
        wave = (at_mean[i] * np.exp(-1j * theta)).real * (speed / s.speed_rpm) ** 2
        twice = 0.05 * abs(at_mean[i]) * np.cos(2 * theta + rng.uniform(0, 6))
        out[:, i] = wave + twice + s.noise_n * rng.standard_normal(n)
    if s.dead is not None:
        out[:, s.dead] = 0.0
    width = 0.03
    out[:, 2] = np.where(turns % 1.0 < width, 1.0, 0.0) + 0.01 * rng.standard_normal(n)
    return out.astype(np.float32)
