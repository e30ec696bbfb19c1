"""Simulated cartridges: four sizes, each unit a little different, with unbalance along its length."""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray

from .rotor import Bearing, Disc, Element, Housing, Rotor

G_N = 9.80665

PLANE_NODES = {"nut": 0, "nose": 1, "back face": 3, "turbine hub": 7}
"""Where material may come off, and the node it is at."""

_SOURCE_NODES = (2, 3, 8, 7, 0)
"""Where unbalance sits: compressor wheel, its back, turbine wheel, its hub, the nut."""


@dataclass(frozen=True)
class Size:
    """A size of simulated cartridge.

    Attributes
    ----------
    name : str
    wheel_mm : float
        Compressor wheel diameter.
    test_speed_rpm, rated_speed_rpm : float
    bearing_n_m, bearing_n_s_m : float
        Stiffness and damping of one oil film.
    housing_kg : float
    """

    name: str
    wheel_mm: float
    test_speed_rpm: float
    rated_speed_rpm: float
    bearing_n_m: float
    bearing_n_s_m: float
    housing_kg: float


SIZES = {
    s.name: s
    for s in (
        Size("Larch 38", 38.0, 210_000, 240_000, 3.2e6, 260.0, 2.2),
        Size("Larch 52", 52.0, 150_000, 175_000, 4.0e6, 420.0, 3.6),
        Size("Alder 64", 64.0, 120_000, 140_000, 5.2e6, 620.0, 6.0),
        Size("Oak 90", 90.0, 82_000, 98_000, 9.0e6, 1500.0, 14.0),
    )
}


@dataclass(frozen=True)
class Cartridge:
    """One simulated unit: its machine, its unbalance, and what was ground off it.

    Attributes
    ----------
    unbalance : tuple of (node, complex)
        g·mm at ``amount * exp(j angle)``, angle on the rotor against rotation from the mark.
    sensor_lag_deg : float
        Angle the rotor turns from the pickup to the sensor.
    """

    size: Size
    rotor: Rotor
    unbalance: tuple[tuple[int, complex], ...]
    sensor_z_m: float
    sensor_lag_deg: float

    def ground(self, plane: str, angle_deg: float, unbalance_gmm: float) -> Cartridge:
        """Return the cartridge with that much taken off at that angle (exactly)."""
        removed = -unbalance_gmm * np.exp(1j * np.deg2rad(angle_deg))
        return replace(self, unbalance=(*self.unbalance, (PLANE_NODES[plane], complex(removed))))

    def plane_response(self, plane: str, speed_rpm: NDArray[np.float64]) -> NDArray[np.complex128]:
        """Return the true response of a plane, g per g·mm, as vectors on the rotor."""
        return self._node_response(PLANE_NODES[plane], speed_rpm)

    def vector(self, speed_rpm: NDArray[np.float64]) -> NDArray[np.complex128]:
        """Return the true once-per-turn vector of the housing, g, at each speed."""
        total = np.zeros(np.asarray(speed_rpm).shape, complex)
        for node in {n for n, _ in self.unbalance}:
            amount = sum(u for n, u in self.unbalance if n == node)
            total += self._node_response(node, speed_rpm) * amount
        return total

    def _node_response(self, node: int, speed_rpm: NDArray[np.float64]) -> NDArray[np.complex128]:
        # a lag is minus the phase of the mechanics; 1 g·mm is 1e-6 kg·m
        mechanics = self.rotor.response(speed_rpm, node, self.sensor_z_m) * 1e-6 / G_N
        return np.asarray(np.conj(mechanics) * np.exp(1j * np.deg2rad(self.sensor_lag_deg)))


def build(size: Size, rng: np.random.Generator, *, spread: float = 1.0) -> Rotor:
    """Return the machine of one unit; `spread` 0 gives the nominal one.

    Parameters
    ----------
    spread : float
        Scales the unit-to-unit variation: oil films 10 and 12 %, masses 2 %, mount 12 %.
    """

    def vary(share: float) -> float:
        return float(np.exp(spread * share * np.clip(rng.standard_normal(), -2.5, 2.5)))

    k = size.wheel_mm / 52.0
    mm = 1e-3 * k
    lengths = (8, 14, 10, 10, 15, 15, 12, 8)
    outers = (7.0, 7.5, 11.0, 9.0, 9.5, 9.5, 14.0, 16.0)
    elements = tuple(Element(n * mm, d * mm) for n, d in zip(lengths, outers, strict=True))
    wheel_kg, turbine_kg = 0.070 * k**3 * vary(0.02), 0.125 * k**3 * vary(0.02)
    wheel_polar = wheel_kg * (0.42 * 26 * mm) ** 2
    turbine_polar = turbine_kg * (0.42 * 23 * mm) ** 2
    discs = (
        Disc(0, 0.004 * k**3, 2e-8 * k**5, 4e-8 * k**5),
        Disc(2, wheel_kg, 0.8 * wheel_polar, wheel_polar),
        Disc(8, turbine_kg, 0.75 * turbine_polar, turbine_polar),
    )
    bearings = tuple(
        Bearing(node, size.bearing_n_m * vary(0.10), size.bearing_n_s_m * vary(0.12))
        for node in (4, 6)
    )
    mass = size.housing_kg * vary(0.02)
    mount = mass * (2 * np.pi * 75.0 * vary(0.12)) ** 2 / 2
    housing = Housing(
        mass,
        mass * (32 * mm) ** 2,
        57 * mm,
        (30 * mm, 84 * mm),
        mount,
        0.08 * np.sqrt(mount * mass),
    )
    return Rotor(elements, discs, bearings, housing)


def make_cartridge(
    size: str | Size, seed: int, *, peak_g: float | None = None, spread: float = 1.0
) -> Cartridge:
    """Return a unit of that size.

    Parameters
    ----------
    size : str or Size
        A name of `SIZES`, or a size.
    seed : int
    peak_g : float, optional
        Its highest housing vibration up to test speed; drawn from 0.25 to 4.1 g when not given.
    spread : float
        Unit-to-unit variation of the machine, 0 for none.
    """
    size = SIZES[size] if isinstance(size, str) else size
    rng = np.random.default_rng([seed, 71])
    rotor = build(size, rng, spread=spread)
    # wheels come balanced one by one; most of what is left is made in assembly, at the nut end
    amounts = np.array([0.8, 0.25, 0.3, 0.1, 0.8]) * rng.rayleigh(1.0, 5)
    angles = rng.uniform(0, 2 * np.pi, 5)
    unbalance = amounts * np.exp(1j * angles)
    wanted = float(np.exp(rng.uniform(np.log(0.25), np.log(4.1)))) if peak_g is None else peak_g
    unit = Cartridge(
        size,
        rotor,
        tuple((n, complex(u)) for n, u in zip(_SOURCE_NODES, unbalance, strict=True)),
        sensor_z_m=42e-3 * size.wheel_mm / 52.0,
        sensor_lag_deg=float(90.0 + spread * 1.5 * rng.standard_normal()),
    )
    speeds = np.linspace(0.15, 1.0, 300) * size.test_speed_rpm
    factor = wanted / float(np.abs(unit.vector(speeds)).max())
    return replace(unit, unbalance=tuple((n, u * factor) for n, u in unit.unbalance))
