"""python -m loop.faults N: how often each fault is named, and what clean runs are accused of (from tests/)."""

import sys
from concurrent.futures import ProcessPoolExecutor

from loop.loop import model_of

from heavyspot.sim.cartridge import SIZES, make_cartridge
from heavyspot.sim.spin import FAULTS, SpinSettings
from heavyspot.sources.simulated import simulated_recording
from heavyspot.workshop.reading import read_recording
from heavyspot.workshop.run_findings import model_findings

NAMED = {
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
    rows = {}
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


ALL = [f for f in FAULTS if f != "reversed_magnet"]
"""A reversed magnet shows only against another run: its test stands with `change_findings`."""

if __name__ == "__main__":
    for fault, (named, forbidden) in run(int(sys.argv[1]), sys.argv[2:] or ALL).items():
        print(
            f"{fault or 'clean':20} named {100 * named:5.1f} %  cut forbidden {100 * forbidden:5.1f} %"
        )
