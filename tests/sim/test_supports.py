"""The simulated low-speed machine against statics written the other way round, and its signals."""

import numpy as np
import pytest

from heavyspot.balance.rotor.rigid import RotorGeometry, support_unbalance
from heavyspot.signal.averaging import turn_stretches
from heavyspot.signal.mark.reference import ReferenceSettings
from heavyspot.sim.supports import LooseRotor, MachineSettings, measure


@pytest.mark.parametrize("planes", [(20.0, 80.0), (-30.0, 50.0), (40.0, 130.0), (-20.0, 120.0)])
def test_forces_are_the_levers_of_a_rigid_rotor(planes):
    """Equilibrium of moments in the simulator, levers in the program: the closed form of a rigid rotor."""
    u = np.array([5 * np.exp(0.7j), 3 * np.exp(4j)])
    rotor = LooseRotor(1.0, (0.0, 100.0), tuple(zip(planes, map(complex, u), strict=True)))
    at = support_unbalance(u, RotorGeometry(0.0, 100.0, planes))
    omega = 3000 * np.pi / 30
    assert rotor.forces_n(3000) == pytest.approx(at * 1e-6 * omega**2)


@pytest.mark.parametrize("rpm", [150, 400, 1_200, 3_600])
@pytest.mark.parametrize("drift", [0.0, 0.05])
def test_a_drifting_speed_is_set_right(rpm, drift):
    rotor = LooseRotor(1.0, (0.0, 100.0), ((20.0, 5 * np.exp(0.7j)), (80.0, 3 * np.exp(4j))))
    force = rotor.forces_n(rpm)
    s = MachineSettings(
        speed_rpm=rpm, drift_share=drift, noise_n=0.02 * float(np.abs(force).max()), repeat_share=0.0,
        seconds=max(10.0, 60 * 100 / rpm),
    )  # fmt: skip
    stretches = turn_stretches(
        [measure(rotor, 3, s)], sample_rate_hz=s.sample_rate_hz, phase_channel=2, channels=(0, 1),
        scale=np.ones(2), reference=ReferenceSettings("pulse"),
    )  # fmt: skip
    mean, standard, speed = stretches.mean(power=2.0)
    assert speed == pytest.approx(rpm, rel=0.01)
    off = np.abs(mean / (speed / rpm) ** 2 - force)
    assert (off < 4 * standard + 0.002 * np.abs(force)).all()
    assert (standard < 0.005 * np.abs(force)).all()


def test_any_chunks_give_the_same():
    rotor = LooseRotor(1.0, (0.0, 100.0), ((20.0, 5.0 + 0j), (80.0, 3j)))
    s = MachineSettings(speed_rpm=900)
    data = measure(rotor, 1, s)

    def read(pieces):
        return turn_stretches(
            pieces, sample_rate_hz=s.sample_rate_hz, phase_channel=2, channels=(0, 1),
            scale=np.ones(2), reference=ReferenceSettings("pulse"),
        ).mean(2.0)[0]  # fmt: skip

    assert read(np.array_split(data, 37)) == pytest.approx(read([data]), rel=1e-5)
