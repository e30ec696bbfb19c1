"""Order tracking: known answers, independence of chunking, symmetries, an independent filter."""

from functools import partial

import numpy as np
import pytest
from conftest import analytic_run_up
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st
from vold_kalman import vold_kalman_first_order

from heavyspot.quantities.errors import BadInput
from heavyspot.signal.curve import read_curves
from heavyspot.signal.mark.reference import ReferenceSettings
from heavyspot.signal.tracker import Tracker


def track(data, rate, *, chunk=None, frame_windows=128, **kw):
    tracker = Tracker(
        sample_rate_hz=rate,
        phase_channel=1,
        vibration_channels=(0,),
        frame_windows=frame_windows,
        **kw,
    )
    size = chunk or len(data)
    for i in range(0, len(data), size):
        tracker.feed(data[i : i + size])
    return tracker.finish()


def errors(signal, curve, lowest_share=0.10):
    """Amplitude error in %, angle error in degrees, over the run-up above a share of top speed."""
    chosen = curve.speed_rpm >= lowest_share * curve.speed_rpm.max()
    ratio = curve.vector[0, chosen] / signal.vector(curve.speed_rpm[chosen])
    return 100 * (np.abs(ratio) - 1), np.rad2deg(np.angle(ratio))


@pytest.mark.parametrize("others", [{}, {0.5: 0.2, 2.0: 0.3, 3.0: 0.2}, {0.42: 0.3}])
@pytest.mark.parametrize("acceleration", [5_000.0, 15_000.0])
def test_accuracy_over_the_run_up_at_30_db(acceleration, others):
    signal = analytic_run_up(acceleration_rpm_s=acceleration, others=others)
    curve = read_curves(track(signal.data, signal.sample_rate_hz)).curves[0]
    assert curve.speed_rpm[-1] >= 149_500
    amplitude, angle = errors(signal, curve)
    assert np.percentile(np.abs(amplitude), 99) < 0.5
    assert np.percentile(np.abs(angle), 99) < 0.5
    assert abs(amplitude.mean()) < 0.02  # no bias
    assert abs(angle.mean()) < 0.02


def test_stated_noise_is_the_real_one():
    signal = analytic_run_up()
    curve = read_curves(track(signal.data, signal.sample_rate_hz)).curves[0]
    chosen = curve.speed_rpm > 15_000
    off = np.abs(curve.vector[0] - signal.vector(curve.speed_rpm))[chosen] / np.sqrt(2)
    ratio = np.sqrt(np.mean((off / curve.noise[0, chosen]) ** 2))
    assert 0.7 < ratio < 1.3


def test_published_chirp_with_four_orders(case):
    # Source: documentation example "order magnitudes of chirp with four orders" (case
    # ot_four_orders): orders 0.5, 1, sqrt 2, 2 with peak amplitudes 0.5, 1, sqrt 2, 2.
    # Scaled in time by 50, so that 10-40 rev/s at 600 S/s is 500-2000 rev/s at 30 kS/s; the orders
    # and amplitudes, which are what is published, stay. 50 times longer, a rig's pace.
    i = case("ot_four_orders")["inputs"]
    k = 50
    fs, seconds = i["fs"] * k, i["T"] * 4
    t = np.arange(int(fs * seconds)) / fs
    f0, f1 = i["f0"] * k, i["f1"] * k
    turns = f0 * t + (f1 - f0) * t**2 / (2 * seconds)
    x = sum(a * np.cos(2 * np.pi * o * turns) for o, a in zip(i["orders"], i["amps"], strict=True))
    data = np.stack([x, np.sin(2 * np.pi * turns)], axis=1)
    curve = read_curves(track(data, fs)).curves[0]
    inner = slice(8, -8)
    assert np.abs(curve.vector[0, inner]) == pytest.approx(i["amps"][1], rel=0.01)
    assert curve.half[0, inner] == pytest.approx(i["amps"][0], rel=0.02)
    assert curve.twice[0, inner] == pytest.approx(i["amps"][3], rel=0.01)


def test_independent_vold_kalman_filter_agrees():
    """A first-generation Vold-Kalman filter (general literature) sees the same vector."""
    signal = analytic_run_up(
        sample_rate_hz=25_600, top_rpm=60_000, acceleration_rpm_s=10_000, hold_s=0.5, snr_db=40
    )
    rate = signal.sample_rate_hz
    t = np.arange(len(signal.data)) / rate
    turns = np.where(t < 6, 10_000 * t**2 / 120, 10_000 * 36 / 120 + (t - 6) * 1000)
    envelope = vold_kalman_first_order(signal.data[:, 0].astype(float), turns, rate, bandwidth_hz=6)
    curve = read_curves(track(signal.data, rate)).curves[0]
    chosen = (curve.speed_rpm > 12_000) & (curve.speed_rpm < 57_000)
    at = (curve.time_s[chosen] * rate).astype(int)
    other = np.conj(envelope[at])
    ours = curve.vector[0, chosen]
    assert np.median(np.abs(ours - other)) < 0.01 * np.abs(ours).max()
    assert np.max(np.abs(ours - other)) < 0.04 * np.abs(ours).max()


def test_scipy_hilbert_agrees_at_steady_speed():
    """scipy.signal.hilbert on a steady tone gives the same amplitude and angle."""
    from scipy.signal import hilbert

    rate, f = 51_200, 1234.5
    t = np.arange(rate * 2) / rate
    x = 0.37 * np.cos(2 * np.pi * f * t - 2.1)
    pickup = np.sin(2 * np.pi * f * t)
    curve = read_curves(track(np.stack([x, pickup], axis=1), rate)).curves[0]
    inner = slice(rate // 2, -rate // 2)
    ratio = np.mean(hilbert(x)[inner] * np.conj(hilbert(pickup)[inner] * 1j))
    assert np.abs(curve.vector[0, 0]) == pytest.approx(np.abs(ratio), rel=1e-3)
    lag = -np.rad2deg(np.angle(ratio)) % 360
    assert np.rad2deg(np.angle(curve.vector[0, 0])) % 360 == pytest.approx(lag, abs=0.05)


SHORT = analytic_run_up(
    sample_rate_hz=25_600, top_rpm=90_000, acceleration_rpm_s=30_000, hold_s=0.3, snr_db=40
)
WHOLE = track(SHORT.data, SHORT.sample_rate_hz)


@settings(max_examples=12, suppress_health_check=[HealthCheck.too_slow])
@given(chunk=st.integers(37, 60_000), frame=st.sampled_from([1, 2, 7, 64]))
def test_chunking_and_frames_change_nothing(chunk, frame):
    other = track(SHORT.data, SHORT.sample_rate_hz, chunk=chunk, frame_windows=frame)
    assert np.array_equal(other.trusted, WHOLE.trusted)
    ok = WHOLE.trusted
    a = np.conj(WHOLE.vectors[0, ok, 1]) * WHOLE.reference[ok]
    b = np.conj(other.vectors[0, ok, 1]) * other.reference[ok]
    assert np.abs(a - b).max() < 1e-4 * np.abs(a).max()


@settings(max_examples=6)
@given(mark=st.floats(5, 355))
def test_moving_the_mark_turns_the_vector(mark):
    # The mark passes earlier by `mark`: everything lags behind it by as much more.
    run_up = partial(
        analytic_run_up, sample_rate_hz=25_600, top_rpm=60_000, acceleration_rpm_s=30_000, snr_db=60
    )
    still = read_curves(track(run_up().data, 25_600)).curves[0]
    moved = read_curves(track(run_up(mark_deg=mark).data, 25_600)).curves[0]
    _, a, b = np.intersect1d(still.speed_rpm, moved.speed_rpm, return_indices=True)
    chosen = still.speed_rpm[a] > 9_000
    turn = np.rad2deg(np.angle(moved.vector[0, b] / still.vector[0, a]))[chosen]
    assert turn.size > 100
    assert np.abs((turn - mark + 180) % 360 - 180).max() < 0.5


@settings(max_examples=5)
@given(scale=st.floats(1e-3, 50))
def test_scaling_scales(scale):
    data = SHORT.data.copy()
    data[:, 0] *= scale
    curve = read_curves(track(data, SHORT.sample_rate_hz)).curves[0]
    same = read_curves(WHOLE).curves[0]
    assert (
        np.abs(curve.vector[0] - scale * same.vector[0]).max()
        < 1e-4 * scale * np.abs(same.vector[0]).max()
    )


def test_backwards_in_time_is_the_other_rotation():
    """Played backwards, the mark passes falling and every lag becomes a lead."""
    data = SHORT.data[::-1].copy()
    curve = read_curves(
        track(data, SHORT.sample_rate_hz, reference=ReferenceSettings(edge="falling"))
    ).curves[0]
    forward = read_curves(WHOLE).curves[0]
    assert curve.direction == "down"
    a = np.interp(50_000, forward.speed_rpm, forward.vector[0].real)
    b = np.interp(50_000, forward.speed_rpm, forward.vector[0].imag)
    c = np.interp(50_000, curve.speed_rpm, curve.vector[0].real)
    d = np.interp(50_000, curve.speed_rpm, curve.vector[0].imag)
    assert complex(c, d) == pytest.approx(complex(a, -b), abs=0.01 * abs(complex(a, b)))


def test_run_up_and_coast_down_are_two_curves():
    up = analytic_run_up(
        sample_rate_hz=25_600, top_rpm=60_000, acceleration_rpm_s=20_000, hold_s=0.5
    )
    both = np.concatenate([up.data, up.data[::-1]])
    # backwards the pickup's sine falls through zero at the mark; only the directions matter here
    curves = read_curves(track(both, 25_600)).curves
    assert {c.direction for c in curves[:2]} == {"up", "down"}


def test_a_second_channel_is_followed_too():
    data = np.column_stack([SHORT.data, 2 * SHORT.data[:, 0]])
    tracker = Tracker(sample_rate_hz=25_600, phase_channel=1, vibration_channels=(0, 2))
    tracker.feed(data)
    curve = read_curves(tracker.finish()).curves[0]
    assert np.allclose(2 * curve.vector[0], curve.vector[1], rtol=1e-4)


def test_wrong_calls_are_refused():
    with pytest.raises(BadInput, match="vibration channel"):
        Tracker(sample_rate_hz=1e5, phase_channel=0, vibration_channels=(0,))
    with pytest.raises(BadInput, match="sample_rate_hz"):
        Tracker(sample_rate_hz=-1, phase_channel=0, vibration_channels=(1,))
    with pytest.raises(BadInput, match="dimensions"):
        Tracker(sample_rate_hz=1e5, phase_channel=0, vibration_channels=(1,)).feed(np.zeros(5))
