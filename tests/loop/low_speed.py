"""Rotors of 0.05 to 2,000 kg on the simulated machine, one correction each (python -m loop.low_speed N)."""

import sys
from concurrent.futures import ProcessPoolExecutor

import numpy as np

from heavyspot.balance.rotor.rigid import transfer
from heavyspot.sim.supports import LooseRotor, MachineSettings
from heavyspot.sources.simulated import simulated_rotor_recording
from heavyspot.workshop.rig.record import RigRecord
from heavyspot.workshop.rotor.correction import correct
from heavyspot.workshop.rotor.model_file import parse_rotor
from heavyspot.workshop.rotor.reading import signal_reading

CUT_SHARE, CUT_DEG = 0.03, 1.0
"""Execution error of a correction: a drilled hole or a weighed mass at a marked place."""

REPEAT = 0.005


def rotor_of(rng):
    """Return a rotor file and the rotor itself: size, speed, planes and unbalance drawn."""
    mass = float(np.exp(rng.uniform(np.log(0.05), np.log(2000.0))))
    length = 100.0 * (mass / 0.5) ** (1 / 3)
    radius = 0.3 * length
    supports = (0.0, length)
    kind = rng.choice(["inboard", "overhung B", "overhung both"])
    if kind == "inboard":
        planes = (length * rng.uniform(0.05, 0.35), length * rng.uniform(0.6, 0.95))
    elif kind == "overhung B":
        planes = (length * rng.uniform(0.3, 0.5), length * rng.uniform(1.1, 1.4))
    else:
        planes = (-length * rng.uniform(0.1, 0.3), length * rng.uniform(1.1, 1.3))
    service = float(150_000 * (0.05 / mass) ** (1 / 3)) * rng.uniform(0.5, 1.0)
    grade = float(rng.choice([2.5, 6.3, 16.0]))
    content = {
        "kind": "rotor", "name": "x", "rotation": "clockwise", "mass_kg": mass,
        "service_speed_rpm": service, "support_a_mm": supports[0], "support_b_mm": supports[1],
        "mass_centre_mm": length * rng.uniform(0.35, 0.65), "rule": "grade", "grade": grade,
        "plane": [
            {"name": n, "at_mm": p, "radius_mm": radius, "way": "add"}
            for n, p in zip(("one", "two"), planes, strict=True)
        ],
    }  # fmt: skip
    file = parse_rotor(content, name="x")
    limits = np.array(file.limits())
    # what is there: in places of its own, 3 to 20 times the limit at the bearings
    where = rng.uniform(-0.1 * length, 1.2 * length, 5)
    u = rng.standard_normal(5) + 1j * rng.standard_normal(5)
    at = transfer(u, where, supports)
    u = u * rng.uniform(3, 20) / (np.abs(at) / limits).max()
    return file, LooseRotor(mass, supports, tuple(zip(where, map(complex, u), strict=True)))


def one(seed):
    """Return: over at first, within tolerance after one correction, and what the circle held."""
    rng = np.random.default_rng([seed, 77])
    file, rotor = rotor_of(rng)
    speed = float(np.clip(0.1 * file.service_speed_rpm, 200.0, 1800.0))
    force = np.abs(rotor.forces_n(speed)).max()
    settings = MachineSettings(
        speed_rpm=speed, noise_n=0.05 * force, repeat_share=REPEAT, drift_share=0.04,
        seconds=max(10.0, 60.0 / speed * 200.0), sample_rate_hz=2_560.0,
    )  # fmt: skip
    # the machine's own claim, as its proofs would state it: it repeats to `REPEAT` a component
    rig = RigRecord(kind="low-speed rotor machine", reduction=1 - 2 * REPEAT)

    def read(k):
        scale = MachineSettings(**{**settings.__dict__, "noise_n": 0.02 * force})
        return signal_reading(
            file, simulated_rotor_recording(rotor, 10 * seed + k, scale), rig, None
        )

    supports = rotor.supports_mm

    def truth():
        x, u = zip(*rotor.unbalance, strict=True)
        return transfer(np.array(u), np.array(x), supports)

    first = read(0)
    held = [
        abs(m - t) <= 2.4477 * s
        for m, t, s in zip(first.at_tolerance, truth(), first.standard_at, strict=True)
    ]
    advice = correct(file, first, first.judged(file))
    for c in advice.corrections:
        plane = next(p for p in file.plane if p.name == c.plane)
        amount = c.amount_gmm * (1 + CUT_SHARE * rng.standard_normal())
        angle = np.deg2rad(c.angle_deg + CUT_DEG * rng.standard_normal())
        rotor = rotor.with_more(plane.at_mm, amount * np.exp(1j * angle))
    after = read(1)
    held += [
        abs(m - t) <= 2.4477 * s
        for m, t, s in zip(after.at_tolerance, truth(), after.standard_at, strict=True)
    ]
    limits = np.array(file.limits())
    within = bool((np.abs(truth()) <= limits).all())
    verdict = after.judged(file).verdict
    return within, held, verdict


def run(n):
    """Return shares: within tolerance after one correction, truth held by the circle, false passes."""
    with ProcessPoolExecutor(2) as pool:
        told = list(pool.map(one, range(n), chunksize=10))
    within = np.mean([t[0] for t in told])
    held = np.mean([h for t in told for h in t[1]])
    false = sum(t[2] == "pass" and not t[0] for t in told)
    return float(within), float(held), false


if __name__ == "__main__":
    print(
        "within tolerance {:.3f}, truth in the circle {:.3f}, false passes {}".format(
            *run(int(sys.argv[1]))
        )
    )
