"""What many units of a model taught, as a population: a mean response and the shapes in which units differ.

It carries no unit: what leaves a shop tells nothing of any piece. On another rig the same rotors answer with
another gain and another turn (how stiff it is held, where a sensor sits), common to all units and speeds.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray

from .prior import ResponsePrior, library_prior

ComplexArray = NDArray[np.complex128]
FloatArray = NDArray[np.float64]

SHAPES = 6
"""Most shapes a population is told with."""

LEAST_SHAPE = 0.02
"""Shapes smaller than this share of the mean are left out."""

RIG_GAIN = 0.4
"""Standard deviation of another rig's gain as a share, and of its turn in rad, where both said at which hour a
sensor sits (a stated choice: a third stiffer or softer, a sensor placed half an hour off)."""

DRAWS = 12
"""Units drawn from a population, to stand beside a shop's own (a cost)."""

WORTH = 2.0
"""Own units that a population counts as: from a few on the shop's own decide (a stated choice)."""

MISSED = 0.7
"""Share of the own responses that a population may miss, its gain fitted, before it is dropped."""


@dataclass(frozen=True)
class Population:
    """The responses of a plane over a model's units.

    Attributes
    ----------
    share : ndarray, shape (k,)
        Speeds as shares of test speed, ascending.
    sensors : tuple of str
    mean : ndarray, shape (sensors, k), complex
        g per g·mm.
    shapes : ndarray, shape (sensors, k, r), complex
        In which units differ: mean plus shapes times standard normal complex numbers is a unit.
    units : int
    """

    share: FloatArray
    sensors: tuple[str, ...]
    mean: ComplexArray
    shapes: ComplexArray
    units: int

    def seen_by(self, names: Sequence[str], turned_deg: Sequence[float]) -> Population:
        """Return it as these of its sensors see it, each so much later in the turn than where it was told."""
        at = [self.sensors.index(n) for n in names]
        turn = np.exp(1j * np.deg2rad(np.asarray(turned_deg, float)))[:, None]
        mean, shapes = self.mean[at] * turn, self.shapes[at] * turn[..., None]
        return replace(self, sensors=tuple(names), mean=mean, shapes=shapes)

    def drawn(self, share: FloatArray) -> ComplexArray:
        """Return units of it, (draws, sensors * n), the same each time; pairs lie on either side of the mean."""
        mean = np.concatenate([np.interp(share, self.share, m) for m in self.mean])
        rank = self.shapes.shape[2]
        shapes = np.stack(
            [
                np.concatenate([np.interp(share, self.share, s[:, r]) for s in self.shapes])
                for r in range(rank)
            ],
            axis=1,
        )
        z = np.random.default_rng(7).standard_normal((2, DRAWS // 2, rank))
        off = ((z[0] + 1j * z[1]) / np.sqrt(2)) @ shapes.T
        return np.concatenate([mean + off, mean - off])


def population_of(
    share: FloatArray, sensors: Sequence[str], responses: ComplexArray, weights: FloatArray
) -> Population:
    """Return the population of units' responses.

    Parameters
    ----------
    share : ndarray, shape (k,)
    responses : ndarray, shape (units, sensors * k), complex
        One sensor's points after the other's.
    weights : ndarray, shape (units,)
    """
    where = np.repeat(np.arange(len(sensors)), share.size)
    prior = library_prior(responses, weights=weights, sensor=where)
    rows, sizes, _ = np.linalg.svd(prior.factor, full_matrices=False)
    keep = int(min(SHAPES, (sizes > LEAST_SHAPE * np.linalg.norm(prior.mean)).sum()))
    shape = (len(sensors), share.size)
    shapes = (rows[:, :keep] * sizes[:keep]).reshape(*shape, keep)
    return Population(share, tuple(sensors), prior.mean.reshape(shape), shapes, responses.shape[0])


def prior_from(population: Population, share: FloatArray) -> ResponsePrior:
    """Return the prior of a plane of which only another rig's population tells, (sensors * n,) points."""
    where = np.repeat(np.arange(len(population.sensors)), share.size)
    prior = library_prior(population.drawn(share), sensor=where)
    gains = [RIG_GAIN * prior.mean * (where == i) for i in range(len(population.sensors))]
    factor = np.concatenate([prior.factor, np.stack(gains, axis=1)], axis=1)
    return ResponsePrior(prior.mean, factor, 0, card=population.units)


def beside_own(population: Population, share: FloatArray, own: ComplexArray) -> ComplexArray | None:
    """Return units of the population with the gain and turn that the shop's own units show.

    Parameters
    ----------
    own : ndarray, shape (units, sensors * n), complex
        One at least.

    Returns
    -------
    ndarray, shape (draws, sensors * n), or None
        None where the own units are not of that population.
    """
    drawn = population.drawn(share)
    where = np.repeat(np.arange(len(population.sensors)), share.size)
    usual, mine = drawn.mean(axis=0), own.mean(axis=0)
    gain = np.ones(where.size, complex)
    for i in range(len(population.sensors)):
        at = where == i
        size = max(float((np.abs(usual[at]) ** 2).sum()), 1e-300)
        gain[at] = np.vdot(usual[at], mine[at]) / size
    missed = float((np.abs(mine - gain * usual) ** 2).sum())
    if missed > MISSED**2 * float((np.abs(mine) ** 2).sum()):
        return None
    return np.asarray(gain * drawn)
