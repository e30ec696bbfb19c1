"""The stated uncertainty of a low-speed reading against the scatter of simulated readings whose truth is known.

The errors are put in where a machine makes them, at its supports or sensors (Monte Carlo, JCGM 101:2008, clause 7).
"""

from dataclasses import fields

import numpy as np
import pytest

from heavyspot.balance.rotor.calibration import calibrate
from heavyspot.ledger.records import OfMachine
from heavyspot.quantities.errors import BadInput
from heavyspot.sim.supports import LooseRotor, MachineSettings
from heavyspot.sources.simulated import MACHINE, simulated_rotor_recording
from heavyspot.workshop.rig import RigRecord
from heavyspot.workshop.rotor.machine_calibration import calibrate_machine, store_arbor
from heavyspot.workshop.rotor.measuring import measure_signals, measure_typed
from heavyspot.workshop.rotor.model_file import parse_rotor
from heavyspot.workshop.rotor.models import add_rotor, add_rotor_model
from heavyspot.workshop.rotor.reading import signal_reading, typed_reading, without_arbor

SUPPORTS = (0.0, 60.0)
LAYOUTS = {
    "inboard": (10.0, 50.0), "close": (26.0, 34.0), "overhung": (-14.0, 30.0), "both": (-14.0, 74.0),
}  # fmt: skip
TRUE = np.array([1.0 + 0.5j, -0.4 + 0.7j])
RIG = RigRecord(kind="low-speed rotor machine", least_gmm=0.02, reduction=0.95)
SHARE = 0.5 * (1 - 0.95)


def levers(planes_mm):
    """Moments about each support, written out."""
    return np.array([[(60.0 - x) / 60.0 for x in planes_mm], [x / 60.0 for x in planes_mm]])


def content(planes_mm, name="Two planes"):
    return {
        "kind": "rotor", "name": name, "rotation": "clockwise", "mass_kg": 0.35,
        "service_speed_rpm": 150_000, "support_b_mm": 60.0, "mass_centre_mm": 28.0, "grade": 6.3,
        "plane": [{"name": f"at {x:g}", "at_mm": x, "radius_mm": 10.0} for x in planes_mm],
    }  # fmt: skip


def scattered(rng, *shape):
    return rng.standard_normal(shape) + 1j * rng.standard_normal(shape)


def of_machine(what):
    """An entry of the ledger with a content."""
    return OfMachine(
        **{f.name: "" for f in fields(OfMachine)} | {"at": "2026-11-01", "content": what}
    )


def parts(values):
    """Complex values as a ledger keeps them."""
    return np.stack([values.real, values.imag], axis=-1).tolist()


STILL = MachineSettings(
    speed_rpm=2_400, drift_share=0, noise_n=1e-5, repeat_share=0, seconds=3, sample_rate_hz=2_048
)


def made(forces_n):
    """A recording whose supports feel these forces."""
    felt = forces_n / (2_400 * np.pi / 30) ** 2 * 1e6
    loose = LooseRotor(0.35, SUPPORTS, tuple(zip(SUPPORTS, map(complex, felt), strict=True)))
    return simulated_rotor_recording(loose, 1, STILL)


def assert_stated_is_true(readings, true=TRUE, *, within=0.05):
    """Stated over true standard uncertainty of a component, in correction and in bearing planes."""
    at_true = readings[0].levers @ true
    for found, stated, truth in (
        ([r.unbalance for r in readings], [r.standard for r in readings], true),
        ([r.at_tolerance for r in readings], [r.standard_at for r in readings], at_true),
    ):
        scatter = np.sqrt((np.abs(np.array(found) - truth) ** 2).mean(axis=0) / 2)
        assert np.mean(stated, axis=0) / scatter == pytest.approx(np.ones(2), abs=within)


@pytest.mark.parametrize("layout", list(LAYOUTS))
def test_what_a_display_says(layout):
    rng = np.random.default_rng(11)
    to_supports = levers(LAYOUTS[layout])
    felt, rotor = to_supports @ TRUE, parse_rotor(content(LAYOUTS[layout]), name="rotor")
    own = np.hypot(0.01, SHARE * np.abs(felt))
    readings = []
    for _ in range(1200):
        shown = np.linalg.solve(to_supports, felt + own * scattered(rng, 2))
        angles = np.rad2deg(np.angle(shown))
        readings.append(typed_reading(rotor, list(np.abs(shown)), list(angles), rig=RIG))
    assert_stated_is_true(readings)


@pytest.mark.parametrize("layout", ["close", "both"])
def test_what_the_supports_say_less_an_arbor(layout):
    rng = np.random.default_rng(12)
    planes, rotor = LAYOUTS[layout], parse_rotor(content(LAYOUTS[layout]), name="rotor")
    arbor = of_machine({"fixture": [(0.0, 0.0)] * 2, "standard": (0.0, 0.0)})
    how = MachineSettings(
        speed_rpm=2_400, noise_n=0.002, repeat_share=SHARE, seconds=5, sample_rate_hz=2_048
    )
    readings = []
    for seed in range(400):
        least = 0.01 * scattered(rng, 2)
        there = (*zip(planes, TRUE, strict=True), *zip(SUPPORTS, least, strict=True))
        loose = LooseRotor(0.35, SUPPORTS, tuple((x, complex(u)) for x, u in there))
        read = signal_reading(rotor, simulated_rotor_recording(loose, seed, how), RIG, None)
        readings.append(without_arbor(rotor, read, arbor))
    assert_stated_is_true(readings, within=0.07)  # 400 readings tell it to 2.5 %


@pytest.mark.parametrize("layout", ["close", "overhung"])
def test_through_influence_coefficients(layout):
    """Sensors that repeat as usual: the responses err as the reading does, and in both planes together."""
    rng = np.random.default_rng(13)
    rotor = parse_rotor(content(LAYOUTS[layout]), name="rotor")
    H = levers(LAYOUTS[layout]) * np.array([[1 + 0.3j], [0.8 - 0.2j]])
    added = np.array([[0, 0], [2, 0], [0, 2], [2, 2j], [-2, 2], [1, -2j]], complex)
    noise = 0.03 * np.abs(added @ H.T).max(axis=0)
    still = RigRecord.model_construct(least_gmm=None, reduction=1.0)
    readings = []
    for _ in range(1000):
        fit = calibrate(added, added @ H.T + noise * scattered(rng, 6, 2))
        kept = of_machine(
            {
                "speed_rpm": 2_400.0, "response": parts(fit.response), "noise": tuple(fit.noise),
                "noise_covariance": parts(fit.noise_covariance), "runs": {"added": parts(added)},
                "at_floor": tuple(fit.at_floor),
            }
        )  # fmt: skip
        seen = H @ TRUE + noise * scattered(rng, 2)
        readings.append(signal_reading(rotor, made(seen), still, kept))
    assert_stated_is_true(readings)


def test_an_arbor_errs_as_the_machine_that_found_it(rotors):
    """Two readings show no scatter: the claims of the machine count, and both planes err together."""
    name = add_rotor_model(rotors, content(LAYOUTS["close"])).name
    add_rotor(rotors, "C-1", name)
    turned = [[1.2, 0.8], [0.9, 1.1]]
    told = store_arbor(rotors, MACHINE, name, turned)
    back = np.linalg.inv(levers(LAYOUTS["close"]))
    felt = np.abs(levers(LAYOUTS["close"]) @ [1.2, 0.9])
    own = np.diag(np.hypot(0.001, 0.01 * felt) ** 2)  # the machine's record: 0.002 g·mm, 0.98
    assert told.standard == pytest.approx(np.sqrt(np.diag(back @ own @ back.T) / 2))
    read = measure_typed(rotors, "C-1", [1.2, 0.9], [0, 0], rig=MACHINE).reading
    at = [t.standard_gmm for t in read.tolerance]
    assert at == pytest.approx(np.sqrt(1.5 * np.diag(own)), rel=1e-6)
    kept = np.array(read.evidence["covariance_gmm2"])
    assert kept[..., 0] == pytest.approx(1.5 * back @ own @ back.T, rel=1e-6)
    with pytest.raises(BadInput, match="equally often"):
        store_arbor(rotors, MACHINE, name, [[1.2, 0.8], [0.9, 1.1, 1.0]])


def test_a_calibration_keeps_what_its_sensors_share(rotors):
    """Remounting moves both sensors together; an older calibration without that is read as before."""
    name = add_rotor_model(rotors, content(LAYOUTS["both"])).name
    add_rotor(rotors, "C-2", name)
    rng = np.random.default_rng(5)
    added = np.array([[0, 0], [2, 0], [0, 2], [2, 2j], [-2, 2], [1, -2j]] * 3, complex)
    H, moved = levers(LAYOUTS["both"]), 0.1 * scattered(rng, 18, 1)
    told = calibrate_machine(rotors, "soft", name, added, added @ H.T + moved, speed_rpm=2_400)
    shared = np.array(told.noise_covariance)[..., 0]
    correlation = shared[0, 1] / np.sqrt(shared[0, 0] * shared[1, 1])
    assert 0.7 < correlation < 1 and shared[0, 1] == pytest.approx(shared[1, 0])
    read = measure_signals(rotors, "C-2", made(H @ TRUE), rig="soft").reading
    newer = [p.standard_gmm for p in read.tolerance]
    older = of_machine({k: v for k, v in told.content().items() if k != "noise_covariance"})
    rotor = parse_rotor(content(LAYOUTS["both"]), name="rotor")
    again = signal_reading(rotor, made(H @ TRUE), RigRecord(), older)
    assert again.standard_at == pytest.approx(newer, rel=0.02)  # each bearing is one sensor here
    planes = [p.standard_gmm for p in read.planes]
    assert not np.allclose(again.standard, planes, rtol=0.05)
