"""A strange rig of poles and residues: a rational transfer function a sensor, drawn at random.

A model is a set of poles (shares of test speed), how strongly each place along the shaft drives them
and each end of the housing shows them, all drawn from a seed; a unit is drawn around its model. The
poles wander with speed, the residues are complex (no classical modes), the sensors have a lag and a
corner. See `strange_world` for what does not repeat.
"""

from __future__ import annotations

from dataclasses import dataclass
from functools import lru_cache, partial

import numpy as np
from loop.loop import model_of, speeds_of
from loop.strange_world import LIMIT_G, Manners, Unit, World, charged
from numpy.polynomial.legendre import legval

from heavyspot.workshop.model.model_file import ModelFile

SIZES = {
    "Willow 96": (85_000, 96.0),
    "Willow 58": (140_000, 58.0),
    "Willow 41": (212_000, 41.0),
    "Willow 124": (64_000, 124.0),
}
PLACES = np.array([-1.0, 1.0, -0.6, 0.1, 0.75])
"""Nut, turbine hub, and where nobody cuts: compressor wheel, shaft, turbine rim."""

DEGREE = (0, 1, 1, 2, 3)
"""Main shape of each pole along the shaft, as a Legendre polynomial's degree."""


@dataclass(frozen=True)
class Poles:
    """The machine: poles (k,), places' drive (places, k), sensors' show (sensors, k)."""

    test_speed_rpm: float
    share: np.ndarray
    damping: np.ndarray
    wander: np.ndarray
    drive: np.ndarray
    show: np.ndarray
    corner: np.ndarray
    rise: float
    bow: np.ndarray

    def _modes(self, speed_rpm, shift, damping):
        x = np.asarray(speed_rpm)[None] / self.test_speed_rpm
        at = self.share[:, None] * (1 + shift) * (1 + self.wander[:, None] * (x - 0.7))
        zeta = self.damping[:, None] * damping
        pole = at * (-zeta + 1j * np.sqrt(1 - zeta**2))
        peak = 2 * zeta * np.minimum(at, 1.0) ** 2  # each as strong at its own resonance
        return x, peak * at / (1j * x - pole) / (1j * x - np.conj(pole))

    def _seen(self, x, modes, drive):
        path = 1 / (1 + 1j * x / self.corner[:, None])
        return np.conj(np.einsum("pk,sk,kn->psn", drive, self.show, modes) * path)

    def response(self, speed_rpm, shift, damping):
        x, modes = self._modes(speed_rpm, shift, damping)
        return self._seen(x, modes * x**self.rise, self.drive)

    def locked(self, speed_rpm, shift, damping):
        x, modes = self._modes(speed_rpm, shift, damping)
        return self._seen(x, modes * x**0.5, self.bow[None])[0]


@dataclass(frozen=True)
class Kind:
    """A model, and how far its units are from it."""

    seed: tuple[int, int]
    model: ModelFile
    middle: Poles
    manners: Manners
    shift_sd: float
    damping_sd: float
    shape_sd: float
    gain_sd: float
    phase_sd: float
    needs_both: float


def _complex(rng, *shape):
    return (rng.standard_normal(shape) + 1j * rng.standard_normal(shape)) / np.sqrt(2)


@lru_cache(None)
def kind_of(name: str, world: int = 0) -> Kind:
    """Return a model; another `world`, another model of the same size."""
    rng = np.random.default_rng([world, list(SIZES).index(name)])
    test_speed, wheel = SIZES[name]
    model = model_of(name, test_speed, wheel)
    k = len(DEGREE)
    share = np.array([0.11, 0.3, 0.58, 0.92, 1.45]) * np.exp(0.12 * rng.standard_normal(k))
    shapes = 0.3 * rng.standard_normal((k, 4))
    shapes[np.arange(k), DEGREE] += rng.choice([-1.0, 1.0], k) * rng.uniform(0.7, 1.3, k)
    drive = np.stack([legval(PLACES, c) for c in shapes], axis=1)
    show = np.stack([legval(np.array([-0.6, 0.6]), c) for c in shapes], axis=1)
    show = show + 0.4 * np.sign(show)  # no end of the housing is a node
    middle = Poles(
        test_speed,
        share,
        rng.uniform(0.07, 0.24, k),
        rng.uniform(-0.05, 0.15, k),
        drive * np.exp(0.25j * rng.standard_normal(drive.shape)),
        show * np.exp(0.25j * rng.standard_normal(show.shape)) * np.exp(2j * np.pi * rng.random()),
        rng.uniform(1.5, 5.0, 2),
        rng.uniform(1.0, 2.5),
        np.zeros(k),
    )
    speed = speeds_of(model)
    nut = np.abs(middle.response(speed, np.zeros(speed.size), 1.0)[0]).max()
    size = rng.uniform(1.8, 3.6) / (nut * model.plane[0].as_plane().cap_gmm(0.0))
    middle = Poles(**(vars(middle) | {"drive": middle.drive * size}))
    manners = Manners(
        run_share=rng.uniform(0.02, 0.035), run_deg=rng.uniform(1.5, 3.0),
        run_shift=rng.uniform(0.002, 0.005), run_tail=4, noise_g=rng.uniform(0.002, 0.005),
        cut_share=rng.uniform(0.12, 0.15), cut_deg=4.0, cut_tail=rng.uniform(3, 4), wild=0.06,
        cold_shift=0.02, cold_damping=rng.uniform(1.1, 1.35), warm_after=rng.uniform(0.5, 1.0),
        softening=rng.uniform(0.01, 0.02),
    )  # fmt: skip
    return Kind(
        (world, list(SIZES).index(name)), model, middle, manners, rng.uniform(0.02, 0.05), rng.uniform(0.1, 0.2),
        rng.uniform(0.06, 0.12), rng.uniform(0.15, 0.3), rng.uniform(8.0, 15.0),
        rng.uniform(0.08, 0.2),
    )  # fmt: skip


def make_unit(kind: Kind, seed: int) -> Unit:
    """Return a unit whose highest vibration is drawn from 0.3 to 4 g."""
    rng = np.random.default_rng([*kind.seed, seed, 733])
    m = kind.middle
    k = m.share.size
    gain = np.exp(
        kind.gain_sd * rng.standard_normal()
        + 1j * np.deg2rad(kind.phase_sd) * rng.standard_normal()
    )
    poles = Poles(
        m.test_speed_rpm,
        m.share
        * np.exp(kind.shift_sd * (0.7 * rng.standard_normal() + 0.7 * rng.standard_normal(k))),
        m.damping * np.exp(kind.damping_sd * rng.standard_normal(k)),
        m.wander,
        m.drive * (1 + kind.shape_sd * _complex(rng, *m.drive.shape)),
        m.show * (1 + kind.shape_sd * _complex(rng, *m.show.shape)) * gain,
        m.corner,
        m.rise,
        _complex(rng, k),
    )
    speed = speeds_of(kind.model)
    bow = np.abs(poles.locked(speed, np.zeros(speed.size), 1.0)).max()
    poles = Poles(**(vars(poles) | {"bow": poles.bow * rng.uniform(0.1, 0.25) * LIMIT_G / bow}))
    unit = Unit(kind.model, speed, poles, kind.manners, np.zeros(PLACES.size, complex))
    first = np.exp(rng.uniform(np.log(0.3), np.log(4.0)))
    weights = np.array([1.0, 0.4, 0.3, 0.2, 0.3])
    return charged(unit, rng, weights, first, needs_both=kind.needs_both)


def worlds(world: int = 0) -> World:
    """Return each model's name, its file, and what makes its units."""
    kinds = {name: kind_of(name, world) for name in SIZES}
    return {n: (k.model, partial(make_unit, k)) for n, k in kinds.items()}
