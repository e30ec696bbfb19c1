"""A rig of another make than the program's simulator: modes, not elements, and films that stiffen.

A cartridge is a sum of four damped modes of housing and rotor whose shapes, frequencies and damping
differ from unit to unit; film stiffness and damping rise with speed, so that no mode is a plain
resonance curve. Nothing here is shared with `heavyspot.sim` or with the adviser.
"""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np

PLANES = ("nut", "turbine hub")


@dataclass(frozen=True)
class Kind:
    """A model: its test speed, modes (share of test speed), damping ratios, and plane weights."""

    name: str
    test_speed_rpm: float
    mode_share: tuple[float, ...]
    damping: tuple[float, ...]
    weight: dict[str, tuple[float, ...]]
    size: float
    wheel_mm: float


KINDS = {
    k.name: k
    for k in (
        Kind("Hazel 40", 200_000, (0.06, 0.45, 0.9, 1.5), (0.2, 0.16, 0.22, 0.12),
             {"nut": (1.0, 0.8, -0.25, 0.5), "turbine hub": (0.9, -0.45, 0.35, -0.4)}, 1.9, 40.0),
        Kind("Hazel 55", 140_000, (0.08, 0.38, 0.75, 1.35), (0.25, 0.13, 0.18, 0.1),
             {"nut": (1.0, 0.9, -0.3, 0.6), "turbine hub": (1.0, -0.2, 0.5, -0.35)}, 0.75, 55.0),
        Kind("Rowan 70", 110_000, (0.1, 0.55, 1.25, 1.9), (0.22, 0.2, 0.1, 0.1),
             {"nut": (1.0, 0.7, 0.6, -0.3), "turbine hub": (0.85, -0.6, 0.45, 0.3)}, 0.36, 70.0),
        Kind("Rowan 95", 80_000, (0.12, 0.62, 0.95, 1.6), (0.3, 0.22, 0.25, 0.15),
             {"nut": (1.0, 0.75, 0.3, 0.4), "turbine hub": (0.95, -0.35, 0.5, -0.5)}, 0.145, 95.0),
    )
}  # fmt: skip


@dataclass(frozen=True)
class Unit:
    """One cartridge: mode frequencies, damping, plane weights, and unbalance in each plane, g·mm.

    A third source, between the planes, cannot be cut.
    """

    kind: Kind
    share: np.ndarray
    damping: np.ndarray
    weight: dict[str, np.ndarray]
    lag: complex
    unbalance: dict[str, complex]

    def plane_response(self, plane, speed_rpm):
        """Return g per g·mm."""
        x = np.asarray(speed_rpm) / self.kind.test_speed_rpm
        out = np.zeros(x.shape, complex)
        for share, zeta, w in zip(self.share, self.damping, self.weight[plane], strict=True):
            r = x / (share * (0.9 + 0.2 * x))  # the film stiffens
            z = zeta * (1.1 - 0.3 * x)
            out += w * r**2 / (1 - r**2 + 2j * z * r) * (0.25 + 0.75 * share)
        return np.conj(out * self.kind.size) * self.lag * x**0.25

    def vector(self, speed_rpm):
        """Return the true once-per-turn vector, g."""
        return sum(u * self.plane_response(p, speed_rpm) for p, u in self.unbalance.items())

    def ground(self, plane, angle_deg, amount):
        """Return the unit with that taken off."""
        removed = amount * np.exp(1j * np.deg2rad(angle_deg))
        return replace(self, unbalance=self.unbalance | {plane: self.unbalance[plane] - removed})


def make_unit(kind: Kind, seed: int) -> Unit:
    """Return a unit whose highest vibration is drawn from 0.25 to 4.1 g."""
    rng = np.random.default_rng([seed, 401])
    share = np.array(kind.mode_share) * np.exp(0.05 * rng.standard_normal(4))
    damping = np.array(kind.damping) * np.exp(0.12 * rng.standard_normal(4))
    weight = {p: np.array(kind.weight[p]) * (1 + 0.08 * rng.standard_normal(4)) for p in PLANES}
    between = 0.5 * (weight["nut"] + weight["turbine hub"])
    weight["wheel"] = between * (1 + 0.2 * rng.standard_normal(4))
    lag = np.exp(1j * np.deg2rad(70.0 + 2.0 * rng.standard_normal()))
    sizes = {"nut": 1.0, "turbine hub": 0.25, "wheel": 0.25}
    unbalance = {
        p: complex(s * rng.rayleigh() * np.exp(2j * np.pi * rng.random())) for p, s in sizes.items()
    }
    unit = Unit(kind, share, damping, weight, complex(lag), unbalance)
    speeds = np.linspace(0.15, 1, 300) * kind.test_speed_rpm
    wanted = np.exp(rng.uniform(np.log(0.25), np.log(4.1)))
    factor = wanted / np.abs(unit.vector(speeds)).max()
    return replace(unit, unbalance={p: u * factor for p, u in unbalance.items()})
