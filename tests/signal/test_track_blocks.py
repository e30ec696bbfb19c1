"""What the tracker keeps block by block, counted again with plain sums over the samples."""

import numpy as np
import pytest

from heavyspot.quantities.errors import BadInput
from heavyspot.signal.mark.reference import ReferenceSettings
from heavyspot.signal.mark.turns import EdgeCounts
from heavyspot.signal.tracker import Track, Tracker

RATE = 25_600.0


def steady(rate=RATE, hz=500.0, seconds=2.0, offset=0.3):
    """Time and columns of a steady spin: vibration 0.7 at a lag of 50 degrees, another channel, the pickup."""
    t = np.arange(int(rate * seconds)) / rate
    theta = 2 * np.pi * hz * t
    first = (
        offset + 0.7 * np.cos(theta - np.deg2rad(50)) + 0.2 * np.cos(2 * theta - np.deg2rad(200))
    )
    second = 0.1 * np.cos(theta - np.deg2rad(310)) + 0.05 * np.cos(0.5 * theta)
    return t, np.stack([first, np.sin(theta) + 0.1, second], axis=1)


def tracked(data, rate=RATE, channels=(0, 2), **settings) -> Track:
    tracker = Tracker(sample_rate_hz=rate, phase_channel=1, vibration_channels=channels, **settings)
    tracker.feed(data)
    return tracker.finish()


@pytest.mark.parametrize("kind", ["magnetic", "pulse"])
def test_means_powers_and_extremes_are_those_of_the_samples(kind):
    _, data = steady()
    track = tracked(data, reference=ReferenceSettings(kind))
    n = track.turns.size
    assert n == data.shape[0] // track.block // 8 * 8
    blocks = data[: n * track.block].T.reshape(3, n, track.block)
    assert track.mean == pytest.approx(blocks[[0, 2]].mean(axis=2), abs=1e-5)
    assert track.power == pytest.approx((blocks[[0, 2]] ** 2).mean(axis=2), abs=1e-5)
    assert track.reference_mean == pytest.approx(blocks[1].mean(axis=1), abs=1e-5)
    assert track.reference_power == pytest.approx((blocks[1] ** 2).mean(axis=1), abs=1e-5)
    windows = blocks[1].reshape(n // 8, -1)
    extremes = np.stack([windows.min(axis=1), windows.max(axis=1)], axis=1)
    assert track.reference_extremes == pytest.approx(extremes, abs=1e-6)
    groups = blocks[[0, 2]].reshape(2, n // 4, -1)
    assert track.extremes[:, :, 0] == pytest.approx(groups.max(axis=2), abs=1e-6)
    assert track.extremes[:, :, 1] == pytest.approx(groups.min(axis=2), abs=1e-6)
    assert track.time_s[:2] == pytest.approx([track.block / 2 / RATE, 1.5 * track.block / RATE])
    assert (track.magnetic, track.pulses_per_turn) == (kind == "magnetic", 1)


def test_shares_near_the_extremes_count_samples_within_three_hundredths_of_the_swing():
    _, data = steady()
    # of every ten samples: four at the top, one just within 3 % of it, one just not; one at the bottom, one near it
    levels = [1.0, 1.0, 1.0, 1.0, 0.95, 0.92, 0.0, -0.92, -0.95, -1.0]
    data[:, 0] = np.resize(levels, data.shape[0])
    shares = tracked(data).extremes[0, :, 2:]
    assert shares[:, 0] == pytest.approx(np.full(len(shares), 0.5), abs=0.01)
    assert shares[:, 1] == pytest.approx(np.full(len(shares), 0.2), abs=0.01)
    data[:, 0] = 0.25  # a flat line is at both its extremes all the time
    assert (tracked(data).extremes[0] == [0.25, 0.25, 1.0, 1.0]).all()


@pytest.mark.parametrize("kind", ["magnetic", "pulse"])
def test_vectors_are_the_fourier_sums_of_their_order(kind):
    """The definition, ``2/N sum x exp(-j order theta)`` with the true angle, over the whole spin."""
    t, data = steady(offset=0.0)
    if kind == "pulse":
        data[:, 1] = (500.0 * t + 1e-9) % 1.0 < 0.3
    track = tracked(data, reference=ReferenceSettings(kind))
    inside = slice(40, track.turns.size - 40)
    found = np.conj(track.vectors[:, inside].mean(axis=1))
    if kind == "magnetic":  # the pickup's own fundamental is a sine: 90 degrees behind the mark
        turn = 1j * track.reference[inside].mean() / abs(track.reference[inside].mean())
        found = found * turn ** np.array([0, 1, 2, 3])
    else:
        assert track.reference == pytest.approx(np.ones(track.turns.size), abs=1e-6)
    found = found[:, 1:]
    theta = 2 * np.pi * 500.0 * t
    for k, column in enumerate((0, 2)):
        x = data[:, column]
        for j, order in enumerate((1, 2, 3)):
            wanted = np.conj(2 / t.size * np.sum(x * np.exp(-1j * order * theta)))
            assert found[k, j] == pytest.approx(wanted, abs=0.02)


@pytest.mark.parametrize("rate", [12_800.0, 25_600.0, 48_000.0, 102_400.0, 204_800.0])
def test_turns_are_counted_from_the_mark_at_any_rate(rate):
    """The middle of a block lies at the turn that the steady speed says, to a degree, and blocks last 2.5 ms."""
    hz = 0.015 * rate
    _, data = steady(rate, hz, seconds=1.5)
    track = tracked(data, rate)
    assert track.block_s == pytest.approx(2.5e-3, rel=0.1)
    assert track.trusted.mean() > 0.9
    # sample k stands for its own moment, so the middle of the first block is (block - 1) / 2 samples on
    middle = (np.arange(track.turns.size) + 0.5) * track.block - 0.5
    off = 360 * (track.turns - hz * middle / rate)
    settled = off[track.trusted & (track.time_s > 0.4)]  # levels have found the middle of the wave
    settled -= 360 * np.round(np.median(settled) / 360)
    assert np.abs(settled).max() < 0.5


def test_a_tracker_that_was_fed_nothing_has_no_blocks():
    track = Tracker(sample_rate_hz=RATE, phase_channel=1, vibration_channels=(0, 2)).finish()
    shapes = {
        "turns": (0,), "trusted": (0,), "reference": (0,), "reference_mean": (0,), "reference_power": (0,),
        "vectors": (2, 0, 4), "mean": (2, 0), "power": (2, 0), "extremes": (2, 0, 4),
        "reference_extremes": (0, 2), "uneven": (0,),
    }  # fmt: skip
    assert {name: getattr(track, name).shape for name in shapes} == shapes
    assert track.trusted.dtype == bool and np.iscomplexobj(track.vectors)
    assert track.counts == EdgeCounts()


def test_without_a_reference_vibration_waits_twelve_of_the_slowest_turns():
    """At 600 rpm that is 1.2 s, and 0.4 s at 1800; blocks are worked on in groups of four, 10 ms."""
    _, data = steady(seconds=3.0)
    data[:, 1] = 0.0
    for lowest, patience_s in ((600.0, 1.2), (1800.0, 0.4)):
        tracker = Tracker(
            sample_rate_hz=RATE,
            phase_channel=1,
            vibration_channels=(0,),
            frame_windows=1,
            lowest_speed_rpm=lowest,
        )
        tracker.feed(data)
        fed_s = data.shape[0] // tracker.window * tracker.window / RATE
        waiting = fed_s - tracker.so_far().mean.shape[1] * tracker.block / RATE
        assert (
            patience_s - 1e-6 <= waiting < patience_s + 0.013
        )  # and the block a smooth one waits for
        assert not tracker.finish().trusted.any()


def test_looking_while_feeding_sees_the_beginning_of_the_whole():
    _, data = steady()
    tracker = Tracker(
        sample_rate_hz=RATE, phase_channel=1, vibration_channels=(0, 2), frame_windows=2
    )
    seen = []
    for part in np.array_split(data, 7):
        tracker.feed(part)
        seen.append(tracker.so_far())
    whole = tracker.finish()
    assert seen[-1].turns.size > 0.9 * whole.turns.size
    for track in seen:
        n = track.turns.size
        assert track.vectors.shape == (2, n, 4) and track.mean.shape == (2, n)
        assert track.vectors == pytest.approx(whole.vectors[:, :n], abs=1e-6)
        assert track.turns == pytest.approx(whole.turns[:n])
        assert track.power == pytest.approx(whole.power[:, :n])


def test_a_later_part_of_a_track_begins_at_a_group():
    _, data = steady()
    whole = tracked(data)
    for block, start in ((0, 0), (-3, 0), (3, 0), (4, 4), (47, 44)):
        late = whole.since(block)
        assert np.array_equal(late.turns, whole.turns[start:])
        for name in ("vectors", "mean", "power"):
            assert np.array_equal(getattr(late, name), getattr(whole, name)[:, start:])
        for name in ("trusted", "reference", "reference_mean", "reference_power"):
            assert np.array_equal(getattr(late, name), getattr(whole, name)[start:])
        assert np.array_equal(late.extremes, whole.extremes[:, start // 4 :])
        assert np.array_equal(late.reference_extremes, whole.reference_extremes[start // 8 :])


def test_marks_at_uneven_intervals_are_kept_with_their_place():
    """A second, later mark in every turn from the middle on."""
    t, data = steady(hz=100.0)
    turn = 100.0 * t
    marks = (turn % 1.0 < 0.1) | ((turn % 1.0 > 0.3) & (turn % 1.0 < 0.4) & (t > 1.0))
    data[:, 1] = marks
    track = tracked(data, reference=ReferenceSettings("pulse"))
    assert track.uneven.size > 50 and track.uneven.min() > 0.95 * RATE
    assert track.counts.edges == pytest.approx(200 + 100, abs=3)


@pytest.mark.parametrize(
    ("wrong", "words"),
    [
        (
            {"vibration_channels": ()},
            "^The tracker needs at least one vibration channel .* Name the",
        ),
        ({"vibration_channels": (0, 1)}, "^The tracker needs at least one vibration channel"),
        ({"sample_rate_hz": 0.0}, "^sample_rate_hz is 0"),
        ({"sample_rate_hz": float("nan")}, "^sample_rate_hz is nan"),
    ],
)
def test_wrong_calls_say_what_is_wrong(wrong, words):
    with pytest.raises(BadInput, match=words):
        Tracker(
            **({"sample_rate_hz": RATE, "phase_channel": 1, "vibration_channels": (0,)} | wrong)
        )
    tracker = Tracker(sample_rate_hz=RATE, phase_channel=1, vibration_channels=(0,))
    with pytest.raises(BadInput, match=r"^samples have 1 dimensions\. Give \(n, channels\)\."):
        tracker.feed(np.zeros(10))
