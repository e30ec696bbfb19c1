"""python -m loop.misuse UNITS [MODEL ...]: what happens when people err (from tests/).

Each way of erring is a stand on which something else happens than is written down. Printed: highest
true vibration over the first (or over what a part that slipped made of it), how many passed within six
runs, false passes, what was named, and how often something wrong was learnt. Units that passed before
anything went wrong are left out.
"""

from __future__ import annotations

import argparse
from collections import Counter
from concurrent.futures import ProcessPoolExecutor
from dataclasses import dataclass
from typing import ClassVar

import numpy as np
from loop.strange import RIGS, Stand, balance_strange, figures
from loop.strange_world import PLANES

from heavyspot.workshop.model.other_units import Lesson

KNOWN = (0, 3, 20, 100)
WRONG = 0.7
"""A lesson is wrong when it is this share of the truth away from it: 45 degrees, or most of its size."""


@dataclass
class Misuse(Stand):
    """A stand where nothing goes wrong; those below differ in what is done, written down or read.

    What is done or written goes wrong in the first stop with cuts or the second, what is read from the
    run after that on.
    """

    stops: int = 0
    found_out: bool = False
    last_run: int = 0
    happened: bool = False

    @property
    def since(self):
        return 1 + self.seed % 2

    @property
    def now(self):
        """Whether the cuts being made are those that go wrong."""
        return self.stops == self.since

    @property
    def after(self):
        """Whether the run being read, or the cut after it, comes after the change."""
        return self.runs > self.since

    def grind(self, plane, removed):
        self.stops += self.last_run != self.runs
        self.last_run = self.runs
        self.happened |= self.now
        for where, amount in self.done(plane, removed):
            super().grind(where, amount)

    def spin(self):
        v = super().spin()
        return self.read(v)

    def answer(self, cuts):
        told = super().answer(cuts)
        self.found_out |= any(c.knowingly for c in told)
        return told

    def done(self, plane, removed) -> list[tuple[str, complex]]:
        return [(plane, removed)]

    def read(self, v):
        return v


class OtherCut(Misuse):
    factor: ClassVar[complex] = 0.5

    def done(self, plane, removed):
        return [(plane, removed * self.factor if self.now else removed)]


class Double(OtherCut):
    factor = 2.0


class HalfATurn(OtherCut):
    factor = -1.0


class NotMade(Misuse):
    def done(self, plane, removed):
        return [] if self.now else [(plane, removed)]


class MadeTwice(Misuse):
    def done(self, plane, removed):
        return [(plane, removed)] * (2 if self.now else 1)


class Mirrored(Misuse):
    """The clock is read the wrong way round, until somebody finds it out."""

    def done(self, plane, removed):
        return [(plane, removed if self.found_out else np.conj(removed))]


class OtherPlane(Misuse):
    def done(self, plane, removed):
        return [(PLANES[1 - PLANES.index(plane)] if self.now else plane, removed)]


class OtherPiece(Misuse):
    """Made here, entered for another piece."""

    def entry(self, plane, removed):
        return [] if self.now else super().entry(plane, removed)


class MarkMoved(Misuse):
    """The nut is magnetised a quarter of a turn away: vectors and clock both start from there."""

    def read(self, v):
        return v * 1j if self.after else v

    def done(self, plane, removed):
        return [(plane, removed / 1j if self.after else removed)]

    def grind(self, plane, removed):
        super().grind(plane, removed)
        self.log[-1] = (self.runs, plane, removed)  # who looks reads the hour from the new mark too


class MagnetReversed(Misuse):
    """The vector turns by half a turn, the clock on the nut stays."""

    def read(self, v):
        return -v if self.after else v


class SensorMoved(Misuse):
    """The first sensor sits elsewhere and shows less."""

    def read(self, v):
        moved = np.ones((len(v), 1), complex)
        moved[0] = 0.6 * np.exp(0.6j)
        return v * moved if self.after else v


class Swapped(Misuse):
    def read(self, v):
        return v[::-1].copy() if self.after else v


class Slipped(Misuse):
    """A part of the rotor slips before a run: 30 to 60 % of its unbalance goes elsewhere."""

    def spin(self):
        if self.runs == self.since:
            rng = np.random.default_rng([self.seed, 3])
            u = self.unit.unbalance
            way = rng.standard_normal(u.size) + 1j * rng.standard_normal(u.size)
            size = rng.uniform(0.3, 0.6) * np.linalg.norm(u) / np.linalg.norm(way)
            self.unit.unbalance = u + way * size
            self.first = max(self.first, self.unit.true_peak(self.sensors))
        return super().spin()


class BentWarm(Misuse):
    """One run is hot: a bow of half the vibration, gone when it has cooled."""

    def read(self, v):
        if self.runs != self.since + 1:
            return v
        way = np.exp(2j * np.pi * np.random.default_rng([self.seed, 3]).random())
        return v + 0.5 * way * np.abs(v)


MISUSES: dict[str, type[Misuse]] = {
    "nothing": Misuse,
    "cut not made": NotMade,
    "cut made twice": MadeTwice,
    "half the cut": OtherCut,
    "double the cut": Double,
    "half a turn off": HalfATurn,
    "clock mirrored": Mirrored,
    "other plane": OtherPlane,
    "entered for another piece": OtherPiece,
    "mark moved by 90 degrees": MarkMoved,
    "magnet reversed": MagnetReversed,
    "sensor moved": SensorMoved,
    "sensors swapped": Swapped,
    "rotor part slipped": Slipped,
    "bent warm": BentWarm,
}


def library_of(model, make, known, sensors) -> list[Lesson]:
    """Return what so many units taught, each of them balanced with what those before it had."""
    library: list[Lesson] = []
    seed = 5_000
    while len({x.piece for x in library}) < known:
        balance_strange(model, make(seed), seed, library, sensors=sensors)
        seed += 1
    return library


def wrong(lesson: Lesson, unit) -> bool:
    """Whether a lesson is far from the unit's truth, its common gain and phase included."""
    true = unit.response(lesson.plane)[0]
    return bool(np.linalg.norm(lesson.response - true) > WRONG * np.linalg.norm(true))


def one(task):
    """Return a model's name, and of each misuse and library what is printed."""
    rig, name, units, world, sensors, known, careless = task
    model, make = RIGS[rig](world)[name]
    whole = library_of(model, make, max(known), sensors)
    pieces = list(dict.fromkeys(x.piece for x in whole))
    lines = [f"{rig}: {name}"]
    for misuse, kind in MISUSES.items():
        for n in known:
            library = [x for x in whole if x.piece in pieces[:n]]
            told, learnt = [], []
            for s in range(units):
                unit, grown = make(s), list(library)
                stand = kind.of(unit, s, sensors)
                stand.careless = careless
                how = balance_strange(
                    model, unit, s, grown, sensors=sensors, findings=True, stand=stand
                )
                if not stand.happened:
                    continue
                told.append(how)
                learnt += [wrong(x, unit) for x in grown[len(library) :]]
            if told:
                lines.append(line(misuse, n, told, learnt))
    return lines


def line(misuse, known, told, learnt):
    """Return a line of the table."""
    over = [t for t in told if t.over_at_first]
    highest = [t.highest for t in over]
    codes = Counter(c for t in over for c in t.codes)
    named = ", ".join(f"{c} {100 * k / len(over):.0f} %" for c, k in codes.most_common(3))
    f = figures(told)
    return (
        f"  {misuse:26} known {known:3}  n {len(over):3}  highest {max(highest):5.2f}  95th "
        f"{np.percentile(highest, 95):5.2f}  within six {100 * f['within six']:5.1f} %  "
        f"false {f['false']:.0f}  wrong lessons {sum(learnt)} of {len(learnt)}  {named}"
    )


def main():
    """Print the tables."""
    p = argparse.ArgumentParser()
    p.add_argument("units", type=int)
    p.add_argument("names", nargs="*")
    p.add_argument("--rig", choices=RIGS)
    p.add_argument("--world", type=int, default=0)
    p.add_argument("--sensors", type=int, default=2)
    p.add_argument("--known", type=int, nargs="*", default=KNOWN)
    p.add_argument("--careless", action="store_true", help="who is asked to look says yes unseen")
    p.add_argument("--workers", type=int, default=1)
    a = p.parse_intermixed_args()
    tasks = [
        (rig, name, a.units, a.world, a.sensors, tuple(a.known), a.careless)
        for rig in ([a.rig] if a.rig else RIGS)
        for name in RIGS[rig](a.world)
        if not a.names or name in a.names
    ]
    with ProcessPoolExecutor(a.workers) as pool:
        for lines in (pool.map if a.workers > 1 else map)(one, tasks):
            print(*lines, sep="\n", flush=True)


if __name__ == "__main__":
    main()
