"""Known deviations of the measuring chain, put into signals by arithmetic here and corrected by the program."""

from dataclasses import fields, replace

import numpy as np
import pytest
from conftest import analytic_run_up
from scipy.signal import lfilter

from heavyspot.quantities.errors import BadInput
from heavyspot.signal.chain import Chain, Pickup, corrected
from heavyspot.signal.curve import Curve, read_curves
from heavyspot.signal.tracker import Tracker

RATE = 102_400.0


def curve_of(housing, pickup):
    tracker = Tracker(sample_rate_hz=RATE, phase_channel=1, vibration_channels=(0,))
    tracker.feed(np.stack([housing, pickup], axis=1).astype(np.float32))
    return read_curves(tracker.finish()).curves[0]


def off(curve, signal):
    """Return the largest errors over a third of top speed: share, degrees."""
    fast = curve.speed_rpm > 50_000
    ratio = curve.vector[0, fast] / signal.vector(curve.speed_rpm[fast])
    return np.abs(np.abs(ratio) - 1).max(), np.abs(np.rad2deg(np.angle(ratio))).max()


@pytest.fixture(scope="module")
def signal():
    return analytic_run_up(snr_db=40.0)


def test_a_delay_of_ten_microseconds_is_nine_degrees_and_is_taken_out(signal):
    late = np.concatenate([np.zeros(1), signal.data[:-1, 0]])  # one sample, 9.77 us
    curve = curve_of(late, signal.data[:, 1])
    assert 8.0 < off(curve, signal)[1] < 10.0
    share, degrees = off(corrected(curve, (Chain(delay_s=1 / RATE),), Pickup()), signal)
    assert share < 0.01 and degrees < 1.0


def test_an_ac_coupled_pickup_and_its_delay_are_taken_out(signal):
    corner, dt = 160.0, 1 / RATE
    a = 1 / (1 + 2 * np.pi * corner * dt)  # first-order high-pass
    pickup = lfilter([a, -a], [1, -a], np.concatenate([np.zeros(2), signal.data[:-2, 1]]))
    curve = curve_of(signal.data[:, 0], pickup)
    assert off(curve, signal)[1] > 10.0
    known = Pickup(delay_s=2 * dt, high_pass_hz=corner)
    assert off(corrected(curve, (Chain(),), known), signal)[1] < 1.5


def test_the_mounted_resonance_and_the_shaker_s_gain_are_taken_out(signal):
    """The sensor as a mass on a spring at 9 kHz, by its difference equation."""
    w, z, dt = 2 * np.pi * 9000.0, 0.05, 1 / RATE
    p = np.exp((-z + 1j * np.sqrt(1 - z * z)) * w * dt)
    poles = [1.0, -2 * p.real, abs(p) ** 2]
    felt = 1.04 * lfilter([sum(poles)], poles, signal.data[:, 0])
    curve = curve_of(felt, signal.data[:, 1])
    assert off(curve, signal)[0] > 0.08  # 4 % of gain and 8 % of resonance at 2500 Hz
    share, _ = off(corrected(curve, (Chain(1.04, mounted_hz=9000.0, damping=z),), Pickup()), signal)
    assert share < 0.015


def test_a_certificate_s_response_is_read_between_its_points():
    chain = Chain(response=((10.0, 1.0, 0.0), (1000.0, 1.02, 1.0), (3000.0, 1.10, 5.0)))
    got = chain.at(np.array([5.0, 1000.0, 2000.0, 9000.0]))
    assert np.abs(got) == pytest.approx([1.0, 1.02, 1.06, 1.10])
    assert np.rad2deg(np.angle(got)) == pytest.approx([0.0, 1.0, 3.0, 5.0])
    with pytest.raises(BadInput, match="ascend"):
        Chain(response=((100.0, 1.0, 0.0), (100.0, 1.0, 0.0)))


def test_nothing_known_changes_nothing_and_every_channel_has_its_own(signal):
    curve = curve_of(signal.data[:, 0], signal.data[:, 1])
    same = corrected(curve, (Chain(),), Pickup())
    for f in fields(Curve):
        if f.name != "direction":
            assert np.allclose(getattr(same, f.name), getattr(curve, f.name))
    two = replace(curve, **{n: np.vstack([getattr(curve, n)] * 2) for n in (
        "vector", "noise", "overall_rms", "twice", "thrice", "half", "angle_noise",
    )})  # fmt: skip
    got = corrected(two, (Chain(2.0), Chain()), Pickup())
    for name in ("vector", "noise", "overall_rms", "twice", "thrice", "half"):
        first, second = getattr(got, name)
        assert np.allclose(2 * first, second) and np.allclose(second, getattr(curve, name)[0])
