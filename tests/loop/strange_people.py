"""Who else balances a strange unit: habit, one-speed coefficient, oracles, a learner of populations.

Each is a function of what was read so far and of nothing else, but the oracles, who know the unit.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass, field
from functools import partial

import numpy as np
from loop.strange_world import LIMIT_G, PLANES, Make, Unit, min_max

from heavyspot.workshop.model.model_file import ModelFile

AIM = 0.9
"""Share of the limit that a run must stay under to be a pass with its guard."""


@dataclass
class Bench:
    """What a technician has before him: runs read, (sensors, n) each, and the cuts between them."""

    model: ModelFile
    sensors: int
    vectors: list[np.ndarray] = field(default_factory=list)
    cuts: list[tuple[int, str, complex]] = field(default_factory=list)
    used_mg: dict[str, float] = field(default_factory=lambda: dict.fromkeys(PLANES, 0.0))

    def cap(self, plane):
        """Return the most that can come off a plane in one stop, g·mm."""
        return self.model.find_plane(plane).as_plane(self.used_mg[plane]).cap_gmm(0.0)

    def cut(self, plane, removed):
        """Keep a cut and return what of it can be made."""
        removed = removed * min(1.0, self.cap(plane) / max(abs(removed), 1e-12))
        radius = self.model.find_plane(plane).radius_mm
        self.used_mg[plane] += abs(removed) / radius * 1e3
        self.cuts.append((len(self.vectors), plane, complex(removed)))
        return removed


Choose = Callable[[Bench], dict[str, complex]]
"""From what is on the bench to the unbalance to take off each plane, g·mm."""


@dataclass(frozen=True)
class Habit:
    """What a shop has learnt of a model by eye: usual nut response, (sensors, n)."""

    response: np.ndarray

    @classmethod
    def of(cls, make: Make):
        """From ten units."""
        return cls(np.mean([make(90_000 + i).response("nut") for i in range(10)], axis=0))


def rule_of_thumb(habit: Habit, bench: Bench) -> dict[str, complex]:
    """Half of what would cancel the worst point's vector, by the shop's usual lag and size."""
    v = bench.vectors[-1]
    k = np.unravel_index(np.abs(v).argmax(), v.shape)
    return {"nut": 0.5 * v[k] / habit.response[k]}


def one_speed(habit: Habit, bench: Bench) -> dict[str, complex]:
    """The classic single-plane influence coefficient at the worst point, after a trial cut."""
    if not bench.cuts:
        return rule_of_thumb(habit, bench)
    v, old = bench.vectors[-1], bench.vectors[-2]
    k = np.unravel_index(np.abs(v).argmax(), v.shape)
    alpha = -(v[k] - old[k]) / bench.cuts[-1][2]
    return {"nut": v[k] / alpha}


def oracle(planes: tuple[str, ...], unit: Unit, bench: Bench) -> dict[str, complex]:
    """Knows the unit's true responses, and cuts at the least highest ratio."""
    s = bench.sensors
    H = np.stack([unit.response(p)[:s].ravel() for p in planes], axis=1)
    return dict(zip(planes, min_max(H, bench.vectors[-1].ravel()), strict=True))


class Population:
    """Knows the true responses of other units of the model, (units, n, planes), not this one's."""

    def __init__(self, make: Make, sensors: int, units: int = 600):
        many = [make(100_000 + i) for i in range(units)]
        self.H = np.stack(
            [np.stack([u.response(p)[:sensors].ravel() for p in PLANES], axis=1) for u in many]
        )
        self.points = many[0].speed_rpm.size

    def jittered(self, rng, number):
        """Return responses drawn from the population with a common gain, phase and warp."""
        H = self.H[rng.integers(len(self.H), size=number)]
        n = self.points
        grid = np.arange(n)
        warp = 1 + 0.015 * rng.standard_normal(number)
        at = np.clip((grid + 0.176 * n) * warp[:, None] - 0.176 * n, 0, n - 1)
        low = np.minimum(at.astype(int), n - 2)
        part = (at - low)[..., None]
        rows = np.arange(number)[:, None]
        parts = []
        for s in range(H.shape[1] // n):
            piece = H[:, s * n : (s + 1) * n]
            parts.append(piece[rows, low] * (1 - part) + piece[rows, low + 1] * part)
        common = np.exp(0.1 * rng.standard_normal(number) + 0.12j * rng.standard_normal(number))
        return np.concatenate(parts, axis=1) * common[:, None, None]

    def weights(self, H, bench):
        """Return each one's likelihood of the changes seen; a cut's error is one complex factor."""
        score = np.zeros(len(H))
        share = 10.0 / H.shape[1]  # neighbouring points tell the same
        for run in {c[0] for c in bench.cuts}:
            if run >= len(bench.vectors):
                continue
            old, new = bench.vectors[run - 1].ravel(), bench.vectors[run].ravel()
            gone = np.zeros(2, complex)
            for at, plane, removed in bench.cuts:
                if at == run:
                    gone[PLANES.index(plane)] += removed
            told = -(H @ gone)
            var = (0.05 * (np.abs(old) + np.abs(new)) + 0.01) ** 2
            power = share * (np.abs(told) ** 2 / var).sum(axis=1)
            cross = share * (np.conj(told) * (new - old) / var).sum(axis=1)
            g = (cross + 1 / 0.03) / (power + 1 / 0.03)
            off = share * (np.abs(new - old - g[:, None] * told) ** 2 / var).sum(axis=1)
            score -= off + np.abs(g - 1) ** 2 / 0.03
        return np.exp(score - score.max())


def population_learner(population: Population, rng, bench: Bench) -> dict[str, complex]:
    """Cuts by the chance of a pass over the population, weighted by the runs seen so far."""
    H = population.jittered(rng, 1500)
    w = population.weights(H, bench)
    kept = rng.choice(len(H), 160, p=w / w.sum())
    H = H[kept]
    v = bench.vectors[-1].ravel()
    tries = []
    for planes in ([0], [1], [0, 1]):
        for u in min_max(H[:12][:, :, planes], v, 25):
            full = np.zeros(2, complex)
            full[planes] = u
            cap = np.array([bench.cap(p) for p in PLANES])
            full = full * np.minimum(1, cap / np.maximum(np.abs(full), 1e-12))
            tries += [full, 0.75 * full]
    best, value = tries[0], -np.inf
    error = 1 + 0.15 * rng.standard_normal((len(H), 2)) + 0.07j * rng.standard_normal((len(H), 2))
    for u in tries:
        peak = np.abs(v - np.einsum("inp,ip->in", H, error * u)).max(axis=1)
        chance = (peak < AIM * LIMIT_G).mean()
        told = chance - 0.2 * np.log(np.maximum(peak, AIM * LIMIT_G)).mean()
        if told > value:
            best, value = u, told
    return {p: complex(u) for p, u in zip(PLANES, best, strict=True) if abs(u) > 0}


def technicians(make: Make, sensors: int) -> dict[str, Callable[[Unit, int], Choose]]:
    """Return who is compared: from a unit and its seed to how its cuts are chosen."""
    habit = Habit.of(make)
    population = Population(make, sensors)
    return {
        "rule of thumb": lambda u, s: partial(rule_of_thumb, habit),
        "one-speed coefficient": lambda u, s: partial(one_speed, habit),
        "population learner": lambda u, s: partial(
            population_learner, population, np.random.default_rng([s, 4])
        ),
        "oracle, nut only": lambda u, s: partial(oracle, PLANES[:1], u),
        "oracle, both planes": lambda u, s: partial(oracle, PLANES, u),
    }
