"""A strange rig of finite elements: a flexible shaft in two oil films in a housing on soft mounts.

Beam elements with shear and rotary inertia, discs with gyroscopic moments, films whose stiffness and
damping go with speed, a rigid housing that bounces and pitches on mounts stiffer one way than the
other, an accelerometer at each end. Written from the physics (Nelson, *A finite rotating shaft element
using Timoshenko beam theory*, 1980; Genta, *Dynamics of Rotating Systems*, 2005); nothing is shared
with `heavyspot.sim`. See `strange_world` for what does not repeat.

The whirl is written as ``z = x + jy = f e^(j w t) + conj(b) e^(-j w t)``: a round shaft keeps forward
(f) and backward (b) apart, the mounts couple them.
"""

from __future__ import annotations

from dataclasses import dataclass, field, replace
from functools import lru_cache, partial

import numpy as np
from loop.loop import model_of, speeds_of
from loop.strange_world import LIMIT_G, Manners, Unit, World, charged
from scipy.linalg import eigh

from heavyspot.workshop.model.model_file import ModelFile

SIZES = {
    "Juniper 98": (82_000, 98.0),
    "Juniper 56": (136_000, 56.0),
    "Juniper 39": (220_000, 39.0),
    "Juniper 130": (62_000, 130.0),
}
NUT, WHEEL, FILM, MIDDLE, FILM_2, TURBINE, HUB = range(7)
PLACES = [NUT, HUB, WHEEL, MIDDLE, TURBINE]
FILMS = [FILM, FILM_2]
EARTH = 9.80665


def beam(length, diameter, modulus, density):
    """Return stiffness, translational mass and rotary inertia of an element, 4 x 4 each."""
    L = length
    area, second = np.pi * diameter**2 / 4, np.pi * diameter**4 / 64
    phi = 12 * 2.6 * second / (0.9 * area * L**2)  # shear: E / G = 2.6, shape factor 0.9
    K = np.array([
        [12, 6 * L, -12, 6 * L],
        [6 * L, (4 + phi) * L**2, -6 * L, (2 - phi) * L**2],
        [-12, -6 * L, 12, -6 * L],
        [6 * L, (2 - phi) * L**2, -6 * L, (4 + phi) * L**2],
    ])  # fmt: skip
    M = np.array([
        [156, 22 * L, 54, -13 * L], [22 * L, 4 * L**2, 13 * L, -3 * L**2],
        [54, 13 * L, 156, -22 * L], [-13 * L, -3 * L**2, -22 * L, 4 * L**2],
    ])  # fmt: skip
    turn = np.array([
        [36, 3 * L, -36, 3 * L], [3 * L, 4 * L**2, -3 * L, -(L**2)],
        [-36, -3 * L, 36, -3 * L], [3 * L, -(L**2), -3 * L, 4 * L**2],
    ])  # fmt: skip
    return (
        K * modulus * second / (L**3 * (1 + phi)),
        M * density * area * L / 420,
        turn * density * second / (30 * L),
    )


@dataclass(frozen=True)
class Shaft:
    """The rotor, free: node positions and disc masses (7,), m and kg; disc inertias (7,), kg m2."""

    at: np.ndarray
    mass: np.ndarray
    polar: np.ndarray
    diametral: np.ndarray
    diameter: float
    modulus: float

    def matrices(self):
        """Return stiffness, and mass as forward and as backward whirl at shaft speed feels it."""
        n = 2 * self.at.size
        K, forward, backward = (np.zeros((n, n)) for _ in range(3))
        for i, length in enumerate(np.diff(self.at)):
            k, m, turn = beam(length, self.diameter, self.modulus, 7_800.0)
            s = slice(2 * i, 2 * i + 4)
            K[s, s] += k
            forward[s, s] += m - turn  # the polar inertia of a thin slice is twice its diametral
            backward[s, s] += m + 3 * turn
        for i in range(self.at.size):
            for M, sign in ((forward, -1), (backward, 1)):
                M[2 * i, 2 * i] += self.mass[i]
                M[2 * i + 1, 2 * i + 1] += self.diametral[i] + sign * self.polar[i]
        return K, forward, backward

    def bending_rad_s(self):
        """Return the lowest speed at which the free shaft bends, standing still."""
        K, forward, backward = self.matrices()
        return float(np.sqrt(eigh(K, (3 * forward + backward) / 4, eigvals_only=True)[2]))

    def receptance(self, omega):
        """Return what forces do at the films: forward (n, 2, 2 + places), backward (n, 2, 2), m/N."""
        K, forward, backward = self.matrices()
        w2 = (omega**2)[:, None, None]
        films, places = 2 * np.array(FILMS), 2 * np.array(PLACES)
        X = np.linalg.inv(K * (1 + 0.002j) - w2 * forward)
        Y = np.linalg.inv(K * (1 + 0.002j) - w2 * backward)
        there = np.concatenate([films, places])
        return X[:, films][:, :, there], Y[:, films][:, :, films]


@dataclass(frozen=True)
class Machine:
    """A shaft in its housing. Arrays of two are for the compressor's end and the turbine's."""

    test_speed_rpm: float
    shaft: Shaft
    stiffness: np.ndarray  # of the films at test speed, N/m
    damping: np.ndarray  # N s/m
    stiffens: float
    thins: float
    swirl: float
    mass: float  # of the housing, kg
    inertia: float  # kg m2, of pitch
    mount: np.ndarray  # (2 ends, x and y), N/m
    mount_loss: float
    reach: np.ndarray  # of mounts and sensors from the middle, m
    sensor_deg: np.ndarray
    gain: np.ndarray  # complex, of each sensor's path
    bow: np.ndarray  # N at each place
    kept: dict[tuple[int, float], tuple[np.ndarray, np.ndarray]] = field(default_factory=dict)

    def _seen(self, speed_rpm, shift, damping):
        """Return g per N at each place, (places, sensors, n)."""
        omega = np.asarray(speed_rpm) * np.pi / 30
        key = (omega.size, float(omega[0]))
        if key not in self.kept:
            self.kept[key] = self.shaft.receptance(omega)
        X, Y = self.kept[key]
        x = omega * 30 / np.pi / self.test_speed_rpm
        k = self.stiffness[:, None] * (0.4 + 0.6 * x**self.stiffens) * (1 + 2 * shift)
        c = self.damping[:, None] * (0.5 + 0.5 * x) ** -self.thins * damping
        cross = self.swirl * c * omega
        forward = _diagonal(k + 1j * omega * c - 1j * cross)
        backward = _diagonal(k + 1j * omega * c + 1j * cross)
        one = np.eye(2)
        Zf = np.linalg.solve(one + forward @ X[:, :, :2], forward)
        Zb = np.linalg.solve(one + backward @ Y, backward)
        middle = self.shaft.at[FILMS].mean()
        T = np.stack([np.ones(2), self.shaft.at[FILMS] - middle], axis=1)  # bounce, pitch
        S = np.stack([np.ones(2), self.reach], axis=1)
        mount = self.mount * (1 + 1j * self.mount_loss)
        spring = (1 + 2 * shift)[:, None, None]
        same = spring * (S.T * mount.mean(axis=1) @ S)
        other = spring * (S.T * (mount[:, 0] - mount[:, 1]) / 2 @ S)
        inertia = np.diag([self.mass, self.inertia]) * (omega**2)[:, None, None]
        A = np.zeros((omega.size, 4, 4), complex)
        A[:, :2, :2] = same - inertia + T.T @ Zf @ T
        A[:, 2:, 2:] = same - inertia + T.T @ Zb @ T
        A[:, :2, 2:] = A[:, 2:, :2] = other
        F = np.zeros((omega.size, 4, len(PLACES)), complex)
        F[:, :2] = T.T @ Zf @ X[:, :, 2:]
        h = np.linalg.solve(A, F)
        turn = np.exp(-1j * np.deg2rad(self.sensor_deg))[:, None]
        ends = (S @ h[:, :2]) * turn + (S @ h[:, 2:]) / turn
        g = -(omega**2)[:, None, None] * ends * self.gain[:, None] / EARTH
        return np.conj(g).transpose(2, 1, 0)  # angles increase against rotation

    def response(self, speed_rpm, shift, damping):
        omega = np.asarray(speed_rpm) * np.pi / 30
        return self._seen(speed_rpm, shift, damping) * omega**2 * 1e-6

    def locked(self, speed_rpm, shift, damping):
        return np.einsum("p,psn->sn", self.bow, self._seen(speed_rpm, shift, damping))


def _diagonal(values):
    """(2, n) -> (n, 2, 2)."""
    return values.T[:, :, None] * np.eye(2)


@dataclass(frozen=True)
class Kind:
    """A model, and how far its units are from it."""

    seed: tuple[int, int]
    model: ModelFile
    middle: Machine
    manners: Manners
    film_sd: float
    mount_sd: float
    gain_sd: float
    phase_sd: float
    needs_both: float


def _shaft(rng, wheel_mm, test_rad_s):
    """Return a rotor of that size that bends, free, at 1.1 to 1.6 times test speed."""
    k = wheel_mm / 52
    steps = np.array([9, 17, 13, 15, 19, 10]) * np.exp(0.12 * rng.standard_normal(6))
    at = np.concatenate([[0], np.cumsum(steps)]) * 1e-3 * k
    mass = np.array([0.006, 0.045, 0, 0, 0, 0.1, 0.008]) * k**3
    mass = mass * np.exp(0.15 * rng.standard_normal(7))
    radius = np.array([5, 13, 1, 1, 1, 13, 6]) * 1e-3 * k
    polar = mass * radius**2
    shaft = Shaft(at, mass, polar, 0.7 * polar, 7.5e-3 * k, 2.05e11)
    wanted = rng.uniform(1.1, 1.6) * test_rad_s
    return replace(shaft, modulus=shaft.modulus * (wanted / shaft.bending_rad_s()) ** 2)


@lru_cache(None)
def kind_of(name: str, world: int = 0) -> Kind:
    """Return a model; another `world`, another model of the same size."""
    seed = (world, list(SIZES).index(name))
    rng = np.random.default_rng([*seed, 17])
    test_speed, wheel = SIZES[name]
    omega = test_speed * np.pi / 30
    shaft = _shaft(rng, wheel, omega)
    rotor = float(shaft.matrices()[1][::2, ::2].sum())
    carried = rotor * np.array([0.4, 0.6])
    film = carried * (omega * rng.uniform(0.25, 0.65, 2)) ** 2
    mass = rng.uniform(2.5, 5.0) + rotor * rng.uniform(8, 16)  # the fixture's share
    span = float(np.ptp(shaft.at[FILMS]))
    reach = np.array([-1, 1]) * span * rng.uniform(0.9, 1.6, 2)
    soft = (omega * rng.uniform(0.07, 0.2)) ** 2 * mass / 2
    middle = Machine(
        test_speed, shaft, film,
        2 * rng.uniform(0.07, 0.22, 2) * np.sqrt(film * carried),
        rng.uniform(0.5, 1.5), rng.uniform(0.2, 0.8), rng.uniform(0.05, 0.2),
        mass, mass * (rng.uniform(0.025, 0.04) * (1 + 0.5 * wheel / 52)) ** 2,  # the fixture turns too
        soft * rng.uniform(0.7, 1.6, (2, 2)), rng.uniform(0.08, 0.2), reach,
        rng.uniform(0, 360) + 5 * rng.standard_normal(2),
        np.ones(2, complex), np.zeros(len(PLACES)),
    )  # fmt: skip
    manners = Manners(
        run_share=rng.uniform(0.015, 0.03), run_deg=rng.uniform(1.0, 3.0),
        run_shift=rng.uniform(0.003, 0.006), run_tail=rng.uniform(3, 5),
        noise_g=rng.uniform(0.001, 0.004), cut_share=rng.uniform(0.12, 0.15), cut_deg=4.0,
        cut_tail=rng.uniform(3, 4), wild=rng.uniform(0.03, 0.1), cold_shift=0.02,
        cold_damping=rng.uniform(1.1, 1.25), warm_after=rng.uniform(0.6, 1.2),
        softening=rng.uniform(0.01, 0.02),
    )  # fmt: skip
    return Kind(
        seed, model_of(name, test_speed, wheel), middle, manners, rng.uniform(0.05, 0.1),
        rng.uniform(0.04, 0.1), rng.uniform(0.12, 0.25), rng.uniform(6.0, 14.0),
        rng.uniform(0.08, 0.2),
    )  # fmt: skip


def _near(rng, values, share):
    return values * np.exp(share * rng.standard_normal(np.shape(values)))


def make_unit(kind: Kind, seed: int) -> Unit:
    """Return a unit whose highest vibration is drawn from 0.3 to 4 g."""
    rng = np.random.default_rng([*kind.seed, seed, 911])
    m, s = kind.middle, kind.middle.shaft
    shaft = replace(
        s,
        mass=_near(rng, s.mass, 0.02),
        diametral=_near(rng, s.diametral, 0.03),
        polar=_near(rng, s.polar, 0.03),
        modulus=_near(rng, s.modulus, 0.05),  # fits of wheels and sleeves: 2.5 % of its speed
        at=s.at + 1e-3 * s.at[-1] * rng.standard_normal(s.at.size),
    )
    whole = kind.gain_sd * rng.standard_normal()
    turn = np.deg2rad(kind.phase_sd) * rng.standard_normal()
    path = 0.05 * (rng.standard_normal(2) + 1j * rng.standard_normal(2))
    oil = _near(rng, 1.0, kind.film_sd)  # clearances of the two go together, and not quite
    machine = replace(
        m,
        shaft=shaft,
        stiffness=_near(rng, m.stiffness * oil, 0.05),
        damping=_near(rng, m.damping * oil, 0.1),
        mount=_near(rng, m.mount * _near(rng, 1.0, kind.mount_sd), 0.5 * kind.mount_sd),
        mass=_near(rng, m.mass, 0.02),
        gain=np.exp(whole + 1j * turn + path),
        bow=rng.standard_normal(5) + 1j * rng.standard_normal(5),
        kept={},
    )
    speed = speeds_of(kind.model)
    bow = np.abs(machine.locked(speed, np.zeros(speed.size), 1.0)).max()
    machine = replace(machine, bow=machine.bow * rng.uniform(0.1, 0.25) * LIMIT_G / bow)
    unit = Unit(kind.model, speed, machine, kind.manners, np.zeros(len(PLACES), complex))
    weights = np.array([1.0, 0.5, 0.3, 0.15, 0.3])
    first = np.exp(rng.uniform(np.log(0.3), np.log(4.0)))
    return charged(unit, rng, weights, first, needs_both=kind.needs_both)


def worlds(world: int = 0) -> World:
    """Return each model's name, its file, and what makes its units."""
    kinds = {name: kind_of(name, world) for name in SIZES}
    return {n: (k.model, partial(make_unit, k)) for n, k in kinds.items()}
