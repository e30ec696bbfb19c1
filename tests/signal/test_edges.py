"""The edge finder against a plain loop over the samples, in any chunking, and against known moments."""

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from heavyspot.quantities.errors import BadInput
from heavyspot.signal.mark.reference import EdgeFinder, ReferenceSettings
from heavyspot.signal.mark.turns import TurnClock

WINDOW = 16


def plain_edges(x, kind):
    """Walk through the samples one by one, as the module's first lines describe it."""
    windows = x.reshape(-1, WINDOW)
    found: list[float] = []
    low_at, low_over, was_high = -1, 0.0, True
    for w in range(len(windows)):
        last_seven = [
            windows[max(k, 0)] for k in range(w - 6, w + 1)
        ]  # before the first, the first again
        top = sorted(s.max() for s in last_seven)[-2]
        bottom = sorted(s.min() for s in last_seven)[1]
        half_swing = (float(top) - float(bottom)) / 2
        middle = (float(top) + float(bottom)) / 2
        if kind == "magnetic":
            middle = float(np.mean([s.mean(dtype=np.float64) for s in last_seven]))
        for k, value in enumerate(windows[w]):
            at, over = w * WINDOW + k, float(value) - middle
            if over < -0.3 * half_swing:
                low_at, low_over = at, over
            high = over > 0.3 * half_swing
            if high and not was_high and low_at >= 0:
                found.append(low_at + (at - low_at) * -low_over / (over - low_over))
                low_at = -1
            was_high = high
    return found


def wandering(seed, n=60 * WINDOW):
    """A wave of changing pitch, size and offset, with spikes and noise enough to cross each level often."""
    rng = np.random.default_rng(seed)
    t = np.arange(n)
    pitch = rng.uniform(0.01, 0.12) * (1 + 0.5 * np.sin(t / rng.uniform(80, 300)))
    size = rng.uniform(0.2, 3) * (1.2 + np.sin(t / rng.uniform(60, 400)))
    x = size * np.sin(2 * np.pi * np.cumsum(pitch) + rng.uniform(0, 6)) + np.cumsum(
        rng.normal(0, 0.02, n)
    )
    x += rng.uniform(0.05, 0.6) * rng.normal(size=n)
    x[rng.integers(0, n, 5)] += 20
    return x.astype(np.float32)


def edges(x, kind, chunks):
    finder = EdgeFinder(ReferenceSettings(kind), window=WINDOW)
    cut = np.cumsum(chunks)[:-1] * WINDOW
    return finder, np.concatenate([finder.edges(part) for part in np.split(x, cut)])


@pytest.mark.parametrize("kind", ["magnetic", "pulse"])
@pytest.mark.parametrize("seed", range(12))
def test_edges_are_those_of_a_plain_loop_in_any_chunking(kind, seed):
    x = wandering(seed)
    wanted = plain_edges(x, kind)
    assert len(wanted) > 10
    rng = np.random.default_rng(seed)
    for chunks in (
        [60],
        [1] * 60,
        [2, 1, 5, 6, 7, 8, 31],
        np.bincount(np.sort(rng.integers(0, 20, 60))),
    ):
        finder, found = edges(x, kind, [c for c in chunks if c])
        assert found == pytest.approx(wanted, abs=1e-4)
        shaped = x.reshape(-1, WINDOW)
        assert np.array_equal(
            finder.extremes, np.stack([shaped.min(axis=1), shaped.max(axis=1)], axis=1)
        )


def test_an_edge_across_a_chunk_is_where_the_wave_crosses():
    """Straight flanks: the crossing is known exactly, whatever window it falls into."""
    period, n = 37, 24 * WINDOW
    x = np.abs((np.arange(n) - 5.25) % period - period / 2) * -1.0 + period / 4
    # the flank rises from its lowest at 5.25 + k * period through zero a quarter of a period later
    wanted = 5.25 + period / 4 + period * np.arange(n // period + 1)
    wanted = wanted[wanted < n - 4]
    for chunks in ([24], [1] * 24):
        _, found = edges(x.astype(np.float32), "pulse", chunks)
        late = wanted[wanted > 7 * WINDOW]
        assert found[found > 7 * WINDOW] == pytest.approx(late, abs=0.02)


def test_what_stays_within_the_hysteresis_is_no_edge():
    """Noise of 15 % of the amplitude crosses zero several times in a turn of 60 samples: one edge all the same."""
    t = np.arange(100 * WINDOW)
    x = np.sin(2 * np.pi * t / 60) + 0.15 * np.random.default_rng(2).uniform(-1, 1, t.size)
    assert (np.diff(np.sign(x)) > 0).sum() > 30
    _, found = edges(x.astype(np.float32), "magnetic", [100])
    assert found[1:] == pytest.approx(60.0 * np.arange(1, 27), abs=4)
    assert EdgeFinder(ReferenceSettings(), window=WINDOW).extremes.shape == (0, 2)


def test_a_signal_high_from_the_start_has_not_passed_its_mark():
    x = np.concatenate(
        [np.full(3 * WINDOW, 1.0), np.full(2 * WINDOW, -1.0), np.full(3 * WINDOW, 1.0)]
    )
    for chunks in ([8], [1] * 8):
        _, found = edges(x.astype(np.float32), "pulse", chunks)
        assert found == pytest.approx([5 * WINDOW - 0.5])


def test_one_sample_is_far_more_than_the_angle_is_off(case):
    # Source: own computation (case ot_tacho_numbers): one sample at 51.2 kS/s and 150,000 rpm is 17.6 degrees.
    c = case("ot_tacho_numbers")
    rate, hz = c["inputs"]["fs_Hz"], c["inputs"]["rpm"] / 60
    window = 1024
    x = np.sin(2 * np.pi * hz * np.arange(40 * window) / rate - 0.7).astype(np.float32)
    found = EdgeFinder(ReferenceSettings(), window=window).edges(x)
    off = (360 * (found * hz / rate) - np.rad2deg(0.7) + 180) % 360 - 180
    assert found.size == pytest.approx(40 * window * hz / rate, abs=2)
    sample = c["expected"]["one_sample_phase_deg"]
    # a chord from just below the lower level to a sample above the upper one crosses zero so far off
    below = np.rad2deg(np.arcsin(0.3))
    over = below + sample
    low, high = np.sin(np.deg2rad([below, over]))
    assert np.abs(off).max() <= 1.01 * abs(-below + (below + over) * low / (low + high))
    assert np.abs(off).max() < sample / 30


def test_a_missing_and_a_doubled_mark_do_not_change_the_speed(case):
    # Source: case ot_tacho_numbers: one missing mark reads as half the speed, one too many as twice the speed
    c = case("ot_tacho_numbers")
    rate, rpm = c["inputs"]["fs_Hz"], c["inputs"]["rpm"]
    turn = rate * 60 / rpm
    marks = turn * np.arange(400.0)
    broken = np.sort(np.append(np.delete(marks, 150), marks[250] + turn / 2))
    clock = TurnClock(edges_per_turn=1, longest_turn=1e6)
    clock.add(broken, final=True)
    at = np.linspace(marks[100], marks[300], 2001)
    turns, good = clock.turns_at(at)
    assert good.all()
    assert 60 * rate * np.diff(turns) / np.diff(at) == pytest.approx(np.full(2000, rpm), rel=1e-3)
    assert (clock.counts.missing_bridged, clock.counts.doubled_dropped) == (1, 1)


@given(st.floats(0.33, 0.67), st.integers(1, 2), st.integers(20, 300))
def test_edges_too_many_in_turns_side_by_side_cost_no_turn(at, more, chunk):
    """The true mark between two false ones divides their pair as each of them divides a turn."""
    turn = 1000.0
    marks = turn * np.arange(400.0)
    clock = TurnClock(edges_per_turn=1, longest_turn=1e6)
    edges = np.sort(np.append(marks, marks[200 : 200 + more] + at * turn))
    for part in np.split(edges, np.arange(chunk, edges.size, chunk)):
        clock.add(part)
    clock.add(np.empty(0), final=True)
    turns, good = clock.turns_at(marks[2:-2])
    assert turns[good] - turns[0] == pytest.approx(np.arange(396.0)[good], abs=1e-6)
    assert good.sum() > 380


@pytest.mark.parametrize(
    ("wrong", "words"),
    [
        ({"kind": "laser"}, '^phase reference kind is \'laser\'. Give "magnetic" or "pulse"'),
        ({"edge": "left"}, '^edge is \'left\'. Give "rising" or "falling"'),
        ({"pulses_per_turn": 0}, "^pulses_per_turn is 0. Give 1 to 360"),
        ({"pulses_per_turn": 361}, "^pulses_per_turn is 361. Give 1 to 360"),
    ],
)
def test_settings_that_no_pickup_has_are_refused(wrong, words):
    with pytest.raises(BadInput, match=words):
        ReferenceSettings(**wrong)


def test_settings_that_pickups_have():
    assert ReferenceSettings() == ReferenceSettings("magnetic", 1, "rising")
    for pulses in (1, 360):
        assert ReferenceSettings("pulse", pulses, "falling").pulses_per_turn == pulses
