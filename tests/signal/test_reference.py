"""The phase reference: both kinds, their faults, and never a curve from one that lies."""

import numpy as np
import pytest
from conftest import analytic_run_up

from heavyspot.quantities.errors import BadInput
from heavyspot.signal.curve import read_curves
from heavyspot.signal.findings import reference_findings
from heavyspot.signal.mark.reference import ReferenceSettings
from heavyspot.signal.tracker import Tracker

RATE = 51_200.0


def follow(data, reference=None, rate=RATE):
    tracker = Tracker(
        sample_rate_hz=rate, phase_channel=1, vibration_channels=(0,), reference=reference
    )
    tracker.feed(np.asarray(data, np.float32))
    track = tracker.finish()
    reading = read_curves(track)
    return track, reading, {f.code: f for f in reference_findings(track, reading)}


def run_up(top=120_000.0, seconds=5.0, hold=0.5, start=0.0):
    """Time, turn angle and speed of a linear run-up."""
    t = np.arange(int(RATE * (seconds + hold))) / RATE
    rate = (top - start) / seconds
    rpm = np.minimum(start + rate * t, top)
    turns = np.cumsum(rpm) / 60 / RATE
    return t, 2 * np.pi * (turns - turns[0]), rpm


T, THETA, RPM = run_up()
HOUSING = (RPM / 120_000) ** 2 * np.cos(THETA - 1.0)
RNG = np.random.default_rng(3)


def angle_at(reading, rpm):
    c = reading.curves[0]
    k = int(np.argmin(np.abs(c.speed_rpm - rpm)))
    return np.rad2deg(np.angle(c.vector[0, k])) % 360


def magnet(harmonics=0.0, hum=0.0, noise=0.005, sign=1.0):
    wave = np.sin(THETA) + harmonics * np.sin(2 * THETA + 0.9)
    out = sign * RPM / 120_000 * wave + hum * np.sin(2 * np.pi * 50 * T + 0.4)
    return out + noise * RNG.standard_normal(T.size)


def pulses(per_turn=1, width=0.08, sign=1.0, low=0.0, high=1.0, skip=None, extra=None):
    """A pulse train sampled as a converter does: the mean over each sample's time."""
    fine = 8
    at = (np.arange(T.size * fine) + 0.5) / (RATE * fine) - 0.5 / RATE
    turn = np.interp(at, T, THETA / (2 * np.pi))
    phase = (turn * per_turn) % 1.0
    on = phase < width * per_turn
    if skip:
        on &= ~np.isin((turn * per_turn).astype(int), skip)
    if extra:
        on |= np.isin(turn.astype(int), extra) & ((turn % 1.0 > 0.4) & (turn % 1.0 < 0.45))
    level = np.where(on, high, low).reshape(-1, fine).mean(axis=1)
    return sign * level + 0.003 * RNG.standard_normal(T.size)


def test_magnet_with_harmonics_and_hum_marks_its_fundamental():
    _, reading, found = follow(np.stack([HOUSING, magnet(harmonics=0.15, hum=0.03)], axis=1))
    assert not [f for f in found.values() if f.severity == "block"]
    for rpm in (30_000, 60_000, 110_000):
        assert angle_at(reading, rpm) == pytest.approx(np.rad2deg(1.0), abs=0.5)


def test_falling_edge_is_half_a_turn_away():
    _, reading, _ = follow(
        np.stack([HOUSING, magnet(sign=-1.0)], axis=1), ReferenceSettings(edge="falling")
    )
    assert angle_at(reading, 90_000) == pytest.approx(np.rad2deg(1.0), abs=0.3)


def test_pulse_leading_edge_is_the_mark():
    _, reading, found = follow(np.stack([HOUSING, pulses()], axis=1), ReferenceSettings("pulse"))
    assert found == {}
    for rpm in (20_000, 60_000, 110_000):
        assert angle_at(reading, rpm) == pytest.approx(np.rad2deg(1.0), abs=1.5)


def test_negative_pulses_with_falling_edge():
    _, reading, found = follow(
        np.stack([HOUSING, pulses(sign=-1.0)], axis=1),
        ReferenceSettings("pulse", edge="falling"),
    )
    assert "reference.polarity" not in found
    assert angle_at(reading, 60_000) == pytest.approx(np.rad2deg(1.0), abs=1.5)


def test_pulse_of_the_wrong_polarity_is_named():
    _, _, found = follow(np.stack([HOUSING, pulses(sign=-1.0)], axis=1), ReferenceSettings("pulse"))
    assert found["reference.polarity"].severity == "block"


@pytest.mark.parametrize("per_turn", [2, 6])
def test_several_pulses_a_turn(per_turn):
    _, reading, _ = follow(
        np.stack([HOUSING, pulses(per_turn, width=0.3 / per_turn)], axis=1),
        ReferenceSettings("pulse", pulses_per_turn=per_turn),
    )
    c = reading.curves[0]
    assert c.speed_rpm[-1] >= 119_000
    k = int(np.argmin(np.abs(c.speed_rpm - 90_000)))
    assert np.abs(c.vector[0, k]) == pytest.approx((90 / 120) ** 2, rel=0.01)


def test_single_missing_and_doubled_pulses_are_bridged():
    turns = int(THETA[-1] / (2 * np.pi))
    skip = list(range(400, turns - 50, 97))
    extra = list(range(450, turns - 50, 131))
    track, reading, found = follow(
        np.stack([HOUSING, pulses(skip=skip, extra=extra)], axis=1), ReferenceSettings("pulse")
    )
    assert track.counts.missing_bridged >= 0.9 * len(skip)
    assert track.counts.doubled_dropped >= 0.9 * len(extra)
    assert "reference.repaired" in found
    assert angle_at(reading, 100_000) == pytest.approx(np.rad2deg(1.0), abs=1.5)
    once = np.abs(reading.curves[0].vector[0])
    expected = (reading.curves[0].speed_rpm / 120_000) ** 2
    chosen = reading.curves[0].speed_rpm > 20_000
    assert np.abs(once / expected - 1)[chosen].max() < 0.02


def test_cubic_turn_angle_leaves_no_error_under_acceleration(case):
    # Source: error of linear interpolation alpha T² / 8 (case ot_linear_error); ours must be far less.
    from heavyspot.signal.mark.turns import TurnClock

    e = case("ot_linear_error")["expected"]
    rate, f0, alpha = 1e6, 500.0, 10_000 / 60
    turns = np.arange(0, 300.0)
    edges = (np.sqrt(f0**2 + 2 * alpha * turns) - f0) / alpha * rate
    clock = TurnClock(edges_per_turn=1, longest_turn=1e6)
    clock.add(edges, final=True)
    middle = 0.5 * (edges[100:200] + edges[101:201])
    got, ok = clock.turns_at(middle)
    true = f0 * middle / rate + 0.5 * alpha * (middle / rate) ** 2
    assert ok.all()
    assert 360 * np.abs(got - true).max() < 0.01 * e["mid_rev_error_deg"]


def test_constant_acceleration_of_computed_order_tracking(case):
    # Source: K. R. Fyfe and E. D. S. Munck, MSSP 11 (1997) 187 (formula from memory): the moments at
    # which given angles pass, from marks at 0, 0.1 and 0.19 s
    from heavyspot.signal.mark.turns import TurnClock

    e, i = case("ot_fyfe_munck")["expected"], case("ot_fyfe_munck")["inputs"]
    b1, b2 = e["b1"] / (2 * np.pi), e["b2"] / (2 * np.pi)
    marks = np.arange(-2.0, 6.0)  # the same acceleration before and after
    times = (np.sqrt(b1**2 + 4 * b2 * marks) - b1) / (2 * b2)
    clock = TurnClock(edges_per_turn=1, longest_turn=1e6)
    clock.add(times * 1e4, final=True)
    got, _ = clock.turns_at(np.array(e["t_at_theta"]) * 1e4)
    assert got - 2.0 == pytest.approx(i["theta_rev"], abs=2e-4)


def test_two_poles_are_named_and_give_no_trust():
    two = RPM / 120_000 * np.sin(2 * THETA + 0.4) + 0.005 * RNG.standard_normal(T.size)
    _, _, found = follow(np.stack([HOUSING, two], axis=1))
    assert found["reference.two_poles"].severity == "block"


def test_weak_magnet_is_named():
    weak = 0.02 * RPM / 120_000 * np.sin(THETA) + 0.03 * RNG.standard_normal(T.size)
    _, reading, found = follow(np.stack([HOUSING, weak], axis=1))
    assert any(f.severity == "block" for f in found.values())
    assert {"reference.weak", "reference.lost"} & set(found)
    del reading


def test_silence_and_noise_give_no_curve():
    for wave in (np.zeros(T.size), 0.1 * RNG.standard_normal(T.size)):
        _, reading, found = follow(np.stack([HOUSING, wave], axis=1))
        assert reading.curves == ()
        assert found["reference.lost"].severity == "block"


def test_lost_above_a_speed_is_named_with_the_speed():
    wave = np.where(RPM > 80_000, 0.0, magnet())
    _, reading, found = follow(np.stack([HOUSING, wave], axis=1))
    assert found["reference.lost_above"].severity == "block"
    assert found["reference.lost_above"].evidence["speed_rpm"] == pytest.approx(80_000, rel=0.02)
    assert reading.curves[0].speed_rpm.max() <= 81_000


def test_mains_hum_before_the_spin_is_not_taken_for_a_speed():
    wave = magnet(hum=0.15, noise=0.002)
    _, reading, _ = follow(np.stack([HOUSING, wave], axis=1))
    c = reading.curves[0]
    chosen = c.speed_rpm > 28_000  # the hum is half the pickup's signal there
    assert np.abs(c.vector[0, chosen]) == pytest.approx(
        (c.speed_rpm[chosen] / 120_000) ** 2, rel=0.03, abs=0.002
    )


def test_noise_of_30_db_does_not_break_the_lock():
    signal = analytic_run_up(snr_db=20, sample_rate_hz=51_200)
    _, reading, found = follow(signal.data)
    assert not [f for f in found.values() if f.severity == "block"]
    assert reading.curves[0].speed_rpm[-1] >= 149_500


@pytest.mark.parametrize("wrong", [{"kind": "laser"}, {"edge": "left"}, {"pulses_per_turn": 0}])
def test_settings_are_checked(wrong):
    with pytest.raises(BadInput):
        ReferenceSettings(**wrong)
