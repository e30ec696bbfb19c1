"""A rotor on two bearings in a housing on a soft mount, by finite elements.

Timoshenko beam elements with rotary inertia and gyroscopic moments; two bearings with direct and
cross stiffness and damping; a rigid housing that moves and tilts on its mount. Everything is
isotropic, so one complex coordinate ``x + j y`` a degree of freedom describes forward whirl, and
unbalance excites nothing else. Source: M. I. Friswell et al., Dynamics of Rotating Machines (2010),
chapters 5 and 6; checked against ross-rotordynamics (tests/reference/ross_rotor.json).
"""

from __future__ import annotations

from dataclasses import dataclass, field

import numpy as np
from numpy.typing import NDArray

ComplexArray = NDArray[np.complex128]
FloatArray = NDArray[np.float64]


@dataclass(frozen=True)
class Element:
    """A piece of shaft: length and diameters in m, material in SI units."""

    length_m: float
    outer_m: float
    inner_m: float = 0.0
    young_pa: float = 2.05e11
    density_kg_m3: float = 7850.0
    poisson: float = 0.3
    shear: bool = True


@dataclass(frozen=True)
class Disc:
    """A rigid wheel at a node: mass and moments of inertia about its own centre."""

    node: int
    mass_kg: float
    diametral_kg_m2: float
    polar_kg_m2: float


@dataclass(frozen=True)
class Bearing:
    """A bearing at a node; `cross_n_m` > 0 pushes the shaft forward in its whirl."""

    node: int
    stiffness_n_m: float
    damping_n_s_m: float
    cross_n_m: float = 0.0


@dataclass(frozen=True)
class Housing:
    """A rigid housing: mass at axial place `z_m`, its tilt inertia, and a mount of two springs."""

    mass_kg: float
    tilt_kg_m2: float
    z_m: float
    mount_z_m: tuple[float, float]
    mount_n_m: float
    mount_n_s_m: float


@dataclass(frozen=True)
class Rotor:
    """The whole machine; `housing` None means bearings on rigid ground."""

    elements: tuple[Element, ...]
    discs: tuple[Disc, ...]
    bearings: tuple[Bearing, ...]
    housing: Housing | None = None
    _cache: dict[str, ComplexArray] = field(default_factory=dict, repr=False, compare=False)

    @property
    def node_z_m(self) -> FloatArray:
        """Axial place of each node, m."""
        return np.concatenate([[0.0], np.cumsum([e.length_m for e in self.elements])])

    def response(self, speed_rpm: FloatArray, node: int, sensor_z_m: float) -> ComplexArray:
        """Return the housing's acceleration, m/s² per kg·m of unbalance at `node`.

        Parameters
        ----------
        speed_rpm : ndarray, shape (n,)
        node : int
        sensor_z_m : float
            Axial place of the sensor on the housing.

        Returns
        -------
        ndarray, shape (n,), complex128
            In ``x + j y`` for an unbalance on the positive x axis at t = 0 (forward whirl).
        """
        if self.housing is None:
            raise ValueError("This rotor has no housing.")
        omega = np.asarray(speed_rpm) * np.pi / 30
        motion = self.motion(speed_rpm, node)
        n = 2 * (len(self.elements) + 1)
        displacement = motion[:, n] + (sensor_z_m - self.housing.z_m) * motion[:, n + 1]
        return np.asarray(-(omega**2) * displacement)

    def motion(self, speed_rpm: FloatArray, node: int) -> ComplexArray:
        """Return every coordinate, m and rad per kg·m of unbalance at `node`; shape (n, dof)."""
        mass, gyro, stiff, damp = self._matrices()
        omega = np.asarray(speed_rpm, float) * np.pi / 30
        w = omega[:, None, None]
        dynamic = stiff + 1j * w * damp - w**2 * (mass - gyro)
        force = np.zeros((omega.size, mass.shape[0], 1), complex)
        force[:, 2 * node, 0] = omega**2
        return np.asarray(np.linalg.solve(dynamic, force)[..., 0])

    def natural_hz(self, speed_rpm: float) -> FloatArray:
        """Return the undamped natural frequencies, Hz, forward positive, at a speed of rotation."""
        mass, gyro, stiff, _ = self._matrices()
        stiff = np.real(stiff)
        spin = speed_rpm * np.pi / 30
        n = mass.shape[0]
        # M x'' - j spin G x' + K x = 0 with x = X exp(j w t)
        top = np.hstack([np.zeros((n, n)), np.eye(n)]).astype(complex)
        inverse = np.linalg.inv(mass)
        bottom = np.hstack([-inverse @ stiff, 1j * spin * (inverse @ gyro)])
        values = np.linalg.eigvals(np.vstack([top, bottom]))
        return np.sort(values.imag) / (2 * np.pi)

    def _matrices(self) -> tuple[ComplexArray, ComplexArray, ComplexArray, ComplexArray]:
        if not self._cache:
            mass, gyro, stiff, damp = self._assemble()
            self._cache.update(mass=mass, gyro=gyro, stiff=stiff, damp=damp)
        c = self._cache
        return c["mass"], c["gyro"], c["stiff"], c["damp"]

    def _assemble(self) -> tuple[ComplexArray, ComplexArray, ComplexArray, ComplexArray]:
        nodes = len(self.elements) + 1
        dof = 2 * nodes + (2 if self.housing else 0)
        mass, gyro, stiff, damp = (np.zeros((dof, dof), complex) for _ in range(4))
        for i, element in enumerate(self.elements):
            span = slice(2 * i, 2 * i + 4)
            m, g, k = _beam(element)
            mass[span, span] += m
            gyro[span, span] += g
            stiff[span, span] += k
        for disc in self.discs:
            i = 2 * disc.node
            mass[i, i] += disc.mass_kg
            mass[i + 1, i + 1] += disc.diametral_kg_m2
            gyro[i + 1, i + 1] += disc.polar_kg_m2
        z = self.node_z_m
        for bearing in self.bearings:
            link = np.zeros(dof)
            link[2 * bearing.node] = 1.0
            if self.housing:
                link[-2:] = -1.0, -(z[bearing.node] - self.housing.z_m)
            pair = np.outer(link, link)
            stiff += (bearing.stiffness_n_m - 1j * bearing.cross_n_m) * pair
            damp += bearing.damping_n_s_m * pair
        if self.housing:
            h = self.housing
            mass[-2, -2] += h.mass_kg
            mass[-1, -1] += h.tilt_kg_m2
            for place in h.mount_z_m:
                arm = np.array([1.0, place - h.z_m])
                stiff[-2:, -2:] += h.mount_n_m * np.outer(arm, arm)
                damp[-2:, -2:] += h.mount_n_s_m * np.outer(arm, arm)
        return mass, gyro, stiff, damp


def _beam(e: Element) -> tuple[FloatArray, FloatArray, FloatArray]:
    """Return mass, gyroscopic and stiffness matrices of one Timoshenko element in (w, w')."""
    area = np.pi / 4 * (e.outer_m**2 - e.inner_m**2)
    second = np.pi / 64 * (e.outer_m**4 - e.inner_m**4)
    shear = e.young_pa / (2 * (1 + e.poisson))
    ratio = e.inner_m / e.outer_m
    squared = (1 + ratio**2) ** 2
    kappa = (6 * (1 + e.poisson) * squared) / (
        (7 + 6 * e.poisson) * squared + (20 + 12 * e.poisson) * ratio**2
    )
    length = e.length_m
    phi = 12 * e.young_pa * second / (shear * kappa * area * length**2) if e.shear else 0.0
    k = np.array(
        [
            [12, 6 * length, -12, 6 * length],
            [6 * length, (4 + phi) * length**2, -6 * length, (2 - phi) * length**2],
            [-12, -6 * length, 12, -6 * length],
            [6 * length, (2 - phi) * length**2, -6 * length, (4 + phi) * length**2],
        ]
    ) * (e.young_pa * second / ((1 + phi) * length**3))
    m1 = 312 + 588 * phi + 280 * phi**2
    m2 = (44 + 77 * phi + 35 * phi**2) * length
    m3 = 108 + 252 * phi + 140 * phi**2
    m4 = -(26 + 63 * phi + 35 * phi**2) * length
    m5 = (8 + 14 * phi + 7 * phi**2) * length**2
    m6 = -(6 + 14 * phi + 7 * phi**2) * length**2
    translation = np.array(
        [[m1, m2, m3, m4], [m2, m5, -m4, m6], [m3, -m4, m1, -m2], [m4, m6, -m2, m5]]
    ) * (e.density_kg_m3 * area * length / (840 * (1 + phi) ** 2))
    m7, m8 = 36.0, (3 - 15 * phi) * length
    m9 = (4 + 5 * phi + 10 * phi**2) * length**2
    m10 = (-1 - 5 * phi + 5 * phi**2) * length**2
    rotation = np.array(
        [[m7, m8, -m7, m8], [m8, m9, -m8, m10], [-m7, -m8, m7, -m8], [m8, m10, -m8, m9]]
    ) * (e.density_kg_m3 * second / (30 * (1 + phi) ** 2 * length))
    return translation + rotation, 2 * rotation, k
