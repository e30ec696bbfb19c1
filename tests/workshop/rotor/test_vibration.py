"""Vibration typed off an instrument, through a machine's stored calibration."""

import numpy as np
import pytest
from conftest import polar

from heavyspot.quantities.errors import BadInput
from heavyspot.sources.simulated import MACHINE
from heavyspot.workshop.rotor.kept import rotor_story
from heavyspot.workshop.rotor.machine_calibration import calibrate_machine
from heavyspot.workshop.rotor.measuring import measure_vibration
from heavyspot.workshop.rotor.vibration import VIBRATION, calibrated_machines

KIND = "Larch 52 shaft and wheel"


def sizes(vectors):
    return [float(abs(v)) for v in vectors], [float(np.rad2deg(np.angle(v))) for v in vectors]


@pytest.fixture
def handbook(rotors, case):
    """A machine calibrated by the handbook's three runs, and the vibration of its first."""
    i = case("ic-two-plane-rao")["inputs"]
    trials = [i["trial_left"], i["trial_right"]]
    first = [polar(i["original"][k]) for k in "AB"]
    added = np.zeros((3, 2), complex)
    for n, t in enumerate(trials):
        added[n + 1, n] = polar(t["weight"])
    read = np.array([first, *([polar(t[k]) for k in "AB"] for t in trials)])
    calibrate_machine(
        rotors, MACHINE, KIND, added, read, speed_rpm=2_400, units=["mil"], names=("A", "B")
    )
    return rotors, first


def test_the_handbooks_turbine(handbook, case):
    # Source: S. S. Rao, Mechanical Vibrations, two-plane balancing of a turbine rotor (from memory): the published
    # weights are the unbalance that is there
    shop, first = handbook
    got = measure_vibration(shop, "W-1", *sizes(first), speed_rpm=2_400, rig=MACHINE, unit="mil")
    wanted = case("ic-two-plane-rao")["expected"]
    for plane, name in zip(got.reading.planes, ("left", "right"), strict=True):
        assert plane.amount_gmm == pytest.approx(wanted[f"unbalance_{name}"][0], rel=1e-3)
        off = plane.angle_deg - wanted[f"unbalance_{name}"][1]
        assert abs((off + 180) % 360 - 180) < 0.1
    assert got.reading.way == "influence" and got.reading.advice.corrections
    kept = got.reading.evidence
    assert kept["typed"] and kept["unit"] == "mil" and kept["amounts"] == sizes(first)[0]


def test_what_numpy_solves_with_more_sensors_than_planes(rotors):
    """Three sensors, two planes: against numpy's own least squares, weighted as the sensors repeat."""
    rng = np.random.default_rng(8)
    H = rng.standard_normal((3, 2)) + 1j * rng.standard_normal((3, 2))
    u = np.array([polar([3, 40]), polar([2, 200])])
    added = np.array([[0, 0], [5, 0], [0, 5], [5, 5j], [0, 0], [5j, 5]], complex)
    scatter = np.array([0.001, 0.02, 0.005])
    noise = scatter * (rng.standard_normal((6, 3)) + 1j * rng.standard_normal((6, 3)))
    told = calibrate_machine(
        rotors, MACHINE, KIND, added, added @ H.T + 0.3 + noise, speed_rpm=2_400
    )
    row = rotors.book.rotors.calibration(MACHINE, KIND).content
    found = np.array(row["response"]) @ [1, 1j]
    weight = 1 / np.array(told.noise)
    wanted, *_ = np.linalg.lstsq(found * weight[:, None], (H @ u) * weight, rcond=None)
    got = measure_vibration(rotors, "W-1", *sizes(H @ u), speed_rpm=2_400, rig=MACHINE)
    assert [polar([p.amount_gmm, p.angle_deg]) for p in got.reading.planes] == pytest.approx(
        list(wanted), rel=1e-6
    )
    assert list(wanted) == pytest.approx(list(u), abs=0.05)


def test_units_of_one_kind_are_turned_into_the_calibrations(handbook):
    shop, first = handbook
    (known,) = calibrated_machines(shop, KIND)
    assert (known.rig, known.sensors, known.unit) == (MACHINE, ("A", "B"), "mil")
    amounts, angles = sizes(first)
    in_mil = measure_vibration(shop, "W-1", amounts, angles, speed_rpm=2_400, rig=MACHINE)
    microns = [25.4 * a for a in amounts]  # a mil is 25.4 µm, exactly
    for unit in ("µm", "um"):
        same = measure_vibration(
            shop, "W-1", microns, angles, speed_rpm=2_400, rig=MACHINE, unit=unit
        )
        for a, b in zip(in_mil.reading.planes, same.reading.planes, strict=True):
            assert a.amount_gmm == pytest.approx(b.amount_gmm) and a.angle_deg == b.angle_deg


@pytest.mark.parametrize(
    ("change", "match"),
    [
        ({"unit": "mm/s"}, "mm/s is velocity"),
        ({"unit": "furlong"}, "none of vibration"),
        ({"speed_rpm": None}, "speed it was read at"),
        ({"speed_rpm": 3_000}, "calibration is for 2,400"),
        ({"rig": "another"}, "not calibrated"),
        ({"amounts": [1.0]}, "1 amounts and 2 angles for 2 sensors"),
        ({"amounts": [1.0, -1.0]}, "negative"),
        ({"amounts": [1.0, float("nan")]}, "no number"),
        ({"amounts": [1.0, 1e300]}, "shakes like that"),
    ],
)
def test_what_would_be_confidently_wrong_is_refused(handbook, change, match):
    shop, first = handbook
    amounts, angles = sizes(first)
    asked = {"amounts": amounts, "angles_deg": angles, "speed_rpm": 2_400.0, "rig": MACHINE}
    with pytest.raises(BadInput, match=match):
        measure_vibration(shop, "W-1", **(asked | change))
    assert rotor_story(shop, "W-1").last is None


def test_a_calibration_that_says_no_unit_is_compared_with_none(rotors):
    added = np.array([[0, 0], [2, 0], [0, 2]], complex)
    read = np.array([[1, 1], [3, 1.5], [1.5, 3]], complex)
    calibrate_machine(rotors, MACHINE, KIND, added, read, speed_rpm=2_400)
    with pytest.raises(BadInput, match="does not say its unit"):
        measure_vibration(rotors, "W-1", [1, 1], [0, 0], speed_rpm=2_400, rig=MACHINE, unit="mm/s")
    measure_vibration(rotors, "W-1", [1, 1], [0, 0], speed_rpm=2_400, rig=MACHINE)
    (known,) = calibrated_machines(rotors, KIND)
    assert known.unit == "" and known.sensors == ("1", "2") and "mm/s" in VIBRATION


def test_nothing_left_on_a_display_is_a_reading_and_no_dead_sensor(handbook):
    shop, _ = handbook
    got = measure_vibration(shop, "W-1", [0.0, 0.0], [0, 0], speed_rpm=2_400, rig=MACHINE)
    assert [p.amount_gmm for p in got.reading.planes] == [0.0, 0.0]
