"""What every strange rig shares: a unit with what cannot be cut, what does not repeat, what moves.

Two rigs stand on it, each with its own mathematics and its own numbers (`strange_modes`,
`strange_shaft`). Nothing here is shared with `heavyspot.sim`, with `loop.modal_rig` or with the
adviser: resonances move with amplitude, from run to run and while it warms; errors of cuts and runs
have heavy tails; part of the vibration is locked to the rotor and is no unbalance.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass, replace
from typing import Protocol

import numpy as np

from heavyspot.workshop.model.model_file import ModelFile

PLANES = ("nut", "turbine hub")
LIMIT_G = 0.5


class Physics(Protocol):
    """The linear machine: what unbalance at each place does to each sensor.

    `shift` moves the resonances, as a share of their speed, one a speed; `damping` multiplies theirs.
    """

    def response(self, speed_rpm: np.ndarray, shift: np.ndarray, damping: float) -> np.ndarray:
        """g per g·mm, (places, sensors, n); the places are `PLANES` and then those nobody can cut."""

    def locked(self, speed_rpm: np.ndarray, shift: np.ndarray, damping: float) -> np.ndarray:
        """g, (sensors, n): turns with the rotor, and no cut removes it."""


@dataclass(frozen=True)
class Manners:
    """What does not repeat, and what moves.

    Scales are such that two draws in three lie within them, whatever the tails (`heavy`).
    """

    run_share: float
    run_deg: float
    run_shift: float
    run_tail: float
    noise_g: float
    cut_share: float
    cut_deg: float
    cut_tail: float
    wild: float  # chance of a cut that is off by 30 %
    cold_shift: float
    cold_damping: float
    warm_after: float  # runs
    softening: float  # share at 3 g


def heavy(rng, tail, size=None):
    """Return Student's t of `tail` degrees of freedom, two thirds of it within -1 to 1."""
    return rng.standard_t(tail, size) / np.interp(tail, [3, 4, 5, 30], [1.20, 1.14, 1.11, 1.01])


@dataclass
class Unit:
    """One cartridge as it now is on the rig.

    `unbalance` is g·mm at each place, shape (places,).
    """

    model: ModelFile
    speed_rpm: np.ndarray
    physics: Physics
    manners: Manners
    unbalance: np.ndarray

    def vector(self, speed_rpm, shift=0.0, damping=1.0):
        """Return the true vector, g, (sensors, n): soft springs give way where it shakes."""
        moved = np.full(np.shape(speed_rpm), float(shift))
        v = np.zeros((1, 1))
        for _ in range(3):
            R = self.physics.response(speed_rpm, moved, damping)
            v = np.einsum("p,psn->sn", self.unbalance, R)
            v = v + self.physics.locked(speed_rpm, moved, damping)
            level = np.minimum(np.abs(v).max(axis=0) / 3.0, 1.3)
            moved = shift - self.manners.softening * level
        return v

    def spin(self, rng, run_number):
        """Return the vectors that the rig reads in a run, 1 for the first; g, (sensors, n)."""
        m = self.manners
        cold = np.exp(-(run_number - 1) / m.warm_after)
        shift = m.cold_shift * cold + m.run_shift * heavy(rng, m.run_tail)
        v = self.vector(self.speed_rpm, shift, 1 + (m.cold_damping - 1) * cold)
        v = v * max(0.5, 1 + m.run_share * heavy(rng, m.run_tail))
        v = v * np.exp(1j * np.deg2rad(m.run_deg * heavy(rng, m.run_tail)))
        noise = m.noise_g * heavy(rng, 4, (2, *v.shape))
        return v + noise[0] + 1j * noise[1]

    def ground(self, plane, angle_deg, amount, rng):
        """Take off `amount`, g·mm, as a hand does: not quite so much, not quite there."""
        m = self.manners
        share = 1 + m.cut_share * heavy(rng, m.cut_tail)
        if rng.random() < m.wild:
            share += 0.3 * rng.choice([-1, 1])
        angle = angle_deg + m.cut_deg * heavy(rng, m.cut_tail)
        self.take(plane, angle, amount * np.clip(share, 0.1, 2.5))

    def take(self, plane, angle_deg, amount):
        """Take off exactly that."""
        gone = np.zeros(self.unbalance.size, complex)
        gone[PLANES.index(plane)] = amount * np.exp(1j * np.deg2rad(angle_deg))
        self.unbalance = self.unbalance - gone

    def true_peak(self, sensors=2):
        """Return the highest true vibration over these sensors, warm, g."""
        fine = np.linspace(self.speed_rpm[0], self.speed_rpm[-1], 260)
        return float(np.abs(self.vector(fine)[:sensors]).max())

    def response(self, plane):
        """Return a plane's true response, warm and at small amplitude, g per g·mm, (sensors, n)."""
        still = np.zeros(self.speed_rpm.size)
        return self.physics.response(self.speed_rpm, still, 1.0)[PLANES.index(plane)]

    def copy(self):
        """Return the same unit, to try something on."""
        return replace(self)


def min_max(H, v, rounds=80):
    """Return the unbalance that leaves the least highest ``|v - H u|``: Lawson's weights.

    `H` (..., n, planes), `v` (n,); returns (..., planes). Lawson, *Contributions to the theory of
    linear least maximum approximation*, 1961.
    """
    w = np.full(H.shape[:-1], 1.0 / H.shape[-2])
    best = np.full(H.shape[:-2], np.inf)
    kept = np.zeros((*H.shape[:-2], H.shape[-1]), complex)
    small = 1e-12 * np.eye(H.shape[-1])
    for _ in range(rounds):
        HW = np.conj(np.swapaxes(H, -1, -2)) * w[..., None, :]
        A = HW @ H
        size = np.trace(A, axis1=-2, axis2=-1).real[..., None, None]
        u = np.linalg.solve(A + small * size, (HW @ v)[..., None])[..., 0]
        r = np.abs(v - (H @ u[..., None])[..., 0])
        top = r.max(axis=-1)
        better = top < best
        best = np.where(better, top, best)
        kept = np.where(better[..., None], u, kept)
        w = w * r
        w = w / w.sum(axis=-1, keepdims=True)
    return kept


def charged(unit: Unit, rng, weights, first_g, *, needs_both):
    """Give a unit its unbalance: `first_g` at the worst speed, and no more than can be cut.

    The best that the nut can do, or both planes in the share `needs_both` of units, leaves at most 70 %
    of the limit (60 %); where it would leave more, the other places get less. `weights`: usual size at
    each place, g·mm.
    """
    n = len(weights)
    u = weights * (rng.standard_normal(n) + 1j * rng.standard_normal(n))
    planes, most_left = (2, 0.6) if rng.random() < needs_both else (1, 0.7)
    still = np.zeros(unit.speed_rpm.size)
    R = unit.physics.response(unit.speed_rpm, still, 1.0).reshape(n, -1)
    bow = unit.physics.locked(unit.speed_rpm, still, 1.0).reshape(-1)
    H = R[:planes].T
    for _ in range(12):
        for _ in range(3):
            unit.unbalance = u
            u = u * first_g / unit.true_peak()
        v = u @ R + bow
        left = np.abs(v - H @ min_max(H, v)).max()
        if left <= most_left * LIMIT_G:
            break
        u = u.copy()
        u[planes:] *= 0.85 * most_left * LIMIT_G / left
    unit.unbalance = u
    return unit


Make = Callable[[int], Unit]
World = dict[str, tuple[ModelFile, Make]]
