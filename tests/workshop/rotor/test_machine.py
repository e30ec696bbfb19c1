"""The low-speed machine: calibrated by labelled runs, proved, its arbor taken out."""

import numpy as np
import pytest
from conftest import polar
from workshop.rotor.shelf import QUIET, wheel

from heavyspot.quantities.errors import BadInput
from heavyspot.sim.supports import LooseRotor, MachineSettings
from heavyspot.sources.simulated import MACHINE, simulated_rotor_recording
from heavyspot.workshop.rotor.machine_calibration import calibrate_machine, store_arbor
from heavyspot.workshop.rotor.machine_proofs import (
    prove_compensator,
    prove_reduction,
    prove_residual,
)
from heavyspot.workshop.rotor.measuring import (
    measure_signals,
    measure_typed,
    overdue,
)


def test_an_influence_calibrated_machine(rotors):
    """Velocity sensors with an unknown answer: trial masses make it known; another speed is refused."""
    rng = np.random.default_rng(3)
    H = rng.standard_normal((2, 2)) + 1j * rng.standard_normal((2, 2))
    base = np.array([0.3, 0.2j])
    added = np.array([[0, 0], [2, 0], [0, 2], [2, 2j]], complex)
    readings = base + added @ H.T + 0.001 * rng.standard_normal((4, 2))
    told = calibrate_machine(
        rotors,
        "old machine",
        "Larch 52 shaft and wheel",
        added,
        readings,
        speed_rpm=2_400,
        by="Ida",
    )
    assert not told.warnings
    row = rotors.book.rotors.calibration("old machine", "Larch 52 shaft and wheel")
    assert np.array(row.content["response"])[..., 0] == pytest.approx(H.real, abs=0.01)
    rotor = wheel(polar([3, 40]), polar([2, 200]))
    u = np.array([x[1] for x in rotor.unbalance])
    wanted = H @ u
    recording = simulated_rotor_recording(_making(wanted, 2_400.0), 5, QUIET)
    got = measure_signals(rotors, "W-1", recording, rig="old machine")
    assert got.reading.way == "influence"
    found = [polar([p.amount_gmm, p.angle_deg]) for p in got.reading.planes]
    assert found == pytest.approx(list(u), abs=0.05)
    slow = MachineSettings(speed_rpm=1_500, noise_n=0.002, repeat_share=0)
    with pytest.raises(BadInput, match="calibration is for 2,400"):
        measure_signals(rotors, "W-1", simulated_rotor_recording(rotor, 5, slow), rig="old machine")


def _making(forces, rpm):
    """A rotor whose supports feel these forces, N, at a speed."""
    u = forces / (rpm * np.pi / 30) ** 2 * 1e6
    return LooseRotor(0.35, (0.0, 60.0), ((0.0, complex(u[0])), (60.0, complex(u[1]))))


def test_proofs_stand_on_the_machines_record(rotors):
    at = np.arange(12) * 30.0
    good = np.abs(1 + 10 * np.exp(1j * np.deg2rad(at)))
    told = prove_residual(
        rotors, MACHINE, {"left": good, "right": good}, due="2030-01-01", by="Ida"
    )
    assert told.passed and overdue(rotors, MACHINE) == []
    assert overdue(rotors, MACHINE, today="2031-01-01") == [
        f"{MACHINE}: the residual test was due on 2030-01-01."
    ]
    bad = prove_residual(rotors, MACHINE, {"left": np.abs(3 + 10 * np.exp(1j * np.deg2rad(at)))})
    assert not bad.passed
    assert "did not pass" in overdue(rotors, MACHINE)[0]
    read = measure_typed(rotors, "W-1", [0.01, 0.01], [0, 0], rig=MACHINE)
    assert "did not pass" in read.reading.proofs[0]  # visible on what is measured with it
    moved = [(150.0, float(a)) for a in at[:11]]
    vectors = [
        (abs(v), float(np.rad2deg(np.angle(v)))) for v in (30 + polar([150, a]) for _, a in moved)
    ]
    kept = prove_reduction(
        rotors, MACHINE, {"left": vectors}, stationary=(30, 0), travelling_gmm=150,
        positions_deg=[a for _, a in moved], least_gmm=1.0,
    )  # fmt: skip
    assert kept.passed
    steady = prove_compensator(
        rotors, MACHINE, {"left": [(5, 0)] * 4}, compensated_gmm=50, least_gmm=1
    )
    assert steady.passed and {p.of for p in rotors.book.rotors.proofs(MACHINE)} == {
        "residual", "reduction", "compensator",
    }  # fmt: skip
    with pytest.raises(BadInput, match="date"):
        prove_residual(rotors, MACHINE, {"left": good}, due="soon")
    with pytest.raises(BadInput, match="no name"):
        prove_residual(rotors, " ", {"left": good})


def test_the_arbor_is_taken_out_of_later_readings(rotors):
    own, arbor = [polar([0.5, 30]), polar([0.2, 100])], [polar([0.2, 100]), polar([0.05, 300])]
    turned = [[u + f, u - f] for u, f in zip(own, arbor, strict=True)]  # by half a turn
    told = store_arbor(rotors, MACHINE, "Larch 52 shaft and wheel", turned, by="Ida")
    assert [f[0] for f in told.fixture] == pytest.approx(np.abs(arbor))
    read = [u + f for u, f in zip(own, arbor, strict=True)]
    angles = list(np.rad2deg(np.angle(read)))
    with_it = measure_typed(rotors, "W-1", list(np.abs(read)), angles, rig=MACHINE)
    found = [polar([p.amount_gmm, p.angle_deg]) for p in with_it.reading.planes]
    assert found == pytest.approx(own)
    assert "arbor" in with_it.reading.notes[-1]
    elsewhere = measure_typed(rotors, "W-1", list(np.abs(read)), angles, rig="other")
    assert elsewhere.reading.notes == ()
    with pytest.raises(BadInput, match="the rotor has 2"):
        store_arbor(rotors, MACHINE, "Larch 52 shaft and wheel", turned[:1])
