"""python -m loop.faults N: how often each fault is named, and what clean runs are accused of (from tests/)."""

import sys
from concurrent.futures import ProcessPoolExecutor

import numpy as np
from loop.loop import Rig, balance, model_of, speeds_of
from loop.run import maker

from heavyspot.balance.cut.history import History, MadeCut
from heavyspot.sim.cartridge import SIZES, make_cartridge
from heavyspot.sim.spin import FAULTS, SpinSettings
from heavyspot.sources.simulated import simulated_recording
from heavyspot.workshop.model.other_units import Lesson, priors_of
from heavyspot.workshop.reading.reading import read_recording
from heavyspot.workshop.reading.run_findings import model_findings, shape_findings

NAMED: dict[str, set[str]] = {
    "whirl": {"oil.sub_synchronous"},
    "rub": {"contact.half_order", "contact.harmonics"},
    "two_poles": {"reference.two_poles"},
    "weak_magnet": {"reference.weak", "reference.lost"},
    "reversed_magnet": set(),  # shows only against another run
    "dropped_marks": {"reference.repaired", "reference.lost_above"},
    "lost_above": {"reference.lost_above", "reference.lost"},
    "hum": {"reference.hum"},
    "sensor_dead": {"sensor.dead"},
    "sensor_clipped": {"sensor.clipped"},
    "speed_not_reached": {"speed.not_reached"},
    "over_rated_speed": {"speed.above_rated"},
    "rig_hum": {"sensor.hum"},
    "unsteady": {"speed.unsteady"},
    "drift": {"vector.drifts"},
    "loose_sensor": {"sensor.loose"},
    "swapped": {"sensor.swapped"},
    "mount_resonance": {"mount.resonance"},
}
MUST_BLOCK = {
    "whirl", "rub", "two_poles", "weak_magnet", "lost_above", "sensor_dead", "sensor_clipped",
    "over_rated_speed", "loose_sensor", "swapped",
}  # fmt: skip


def one(task):
    fault, seed = task
    size = list(SIZES.values())[seed % 4]
    model = model_of(size.name, size.test_speed_rpm, size.wheel_mm).model_copy(
        update={"rated_speed_rpm": float(size.rated_speed_rpm)}
    )
    settings = SpinSettings(run_up_s=6.0, coast_s=3.0, faults=(fault,) if fault else ())
    recording = simulated_recording(make_cartridge(size, seed), seed, settings)
    read = read_recording(recording)
    found = [*read.findings, *model_findings(recording, read, model)]
    return fault, {f.code: f.severity for f in found}


def run(n, names):
    """Return each fault's share named and share forbidden to cut; of clean runs, the false ones."""
    rows: dict[str, list[dict[str, str]]] = {}
    tasks = [(f, s) for f in [*names, ""] for s in range(n)]
    with ProcessPoolExecutor(2) as pool:
        for fault, codes in pool.map(one, tasks, chunksize=8):
            rows.setdefault(fault, []).append(codes)
    return {
        fault: (
            sum(bool(NAMED.get(fault, set()) & set(c)) for c in found) / n,
            sum("block" in c.values() for c in found) / n,
        )
        for fault, found in rows.items()
    }


def unlike(own, other, units=12, seed=0):
    """Return how often the shape of a cut's effect stops the work: units of `own`, of `other`.

    A library of `own` units is made first; each unit then gets one cut on the nut.
    """
    model, make = maker(own)
    library: list[Lesson] = []
    for s in range(40):
        balance(model, make(3000 + s), 3000 + s, library)
    speed = speeds_of(model)
    priors = priors_of(library, model, speed, rig="rig")
    shares = speed / model.test_speed_rpm
    found = []
    for source in (own, other):
        kind, make_other = maker(source)
        at = shares * kind.test_speed_rpm
        stopped = 0
        for s in range(units):
            rng = np.random.default_rng([seed, s])
            rig = Rig(make_other(4000 + s), at, rng)
            before = rig.spin()
            size = 0.5 * np.abs(before).max() / np.abs(rig.unit.plane_response("nut", at)).max()
            rig.grind("nut", 360 * rng.random(), size)
            noise = np.full((2, speed.size), 0.002)
            cut = MadeCut(1, "nut", complex(size))
            history = History(speed, np.stack([before, rig.spin()]), noise, (cut,))
            stopped += bool(shape_findings(history, priors, model.as_scatter()))
        found.append(stopped / units)
    return tuple(found)


ALL = [f for f in FAULTS if f != "reversed_magnet"]
"""A reversed magnet shows only against another run: its test stands with `change_findings`."""

if __name__ == "__main__":
    for fault, (named, forbidden) in run(int(sys.argv[1]), sys.argv[2:] or ALL).items():
        print(
            f"{fault or 'clean':20} named {100 * named:5.1f} %  cut forbidden {100 * forbidden:5.1f} %"
        )
