"""What is said while it spins: few alarms, each at once, none for what was foretold."""

from typing import cast

import numpy as np
import pytest

from heavyspot.balance.cut.early import Early
from heavyspot.balance.limits import Limit
from heavyspot.workshop.bench.foresee import Foreseer
from heavyspot.workshop.bench.watch import Expected, Watch

NAN = float("nan")


def a_watch(**more):
    return Watch(Limit("house", (0.0,), (0.5,)), 22_500.0, 175_000.0, **more)


def run(watch, speeds, amplitudes, *, every=0.06, share=1.0):
    """Feed a run, a snapshot each `every` seconds; returns what was seen."""
    pairs = zip(speeds, amplitudes, strict=True)
    return [watch.see(i * every, float(n), float(g), share) for i, (n, g) in enumerate(pairs)]


def up(top=150_000.0, count=200):
    return np.linspace(5_000.0, top, count)


def test_a_quiet_run_is_under_the_limit():
    seen = run(a_watch(), up(), np.full(200, 0.2))
    assert seen[-1].state == "under" and seen[-1].share == pytest.approx(0.4)
    assert not any(s.alarm for s in seen)


def test_as_expected_and_higher_are_told_apart():
    expected = Expected((20_000.0, 150_000.0), (0.2, 0.3))
    assert run(a_watch(expected=expected), up(), np.full(200, 0.18))[-1].state == "as_expected"
    assert run(a_watch(expected=expected), up(), np.full(200, 0.45))[-1].state == "higher"


def test_over_the_limit_is_said_with_the_worst_and_is_no_alarm():
    seen = run(a_watch(), up(), np.linspace(0.1, 0.62, 200))
    assert seen[-1].state == "over" and seen[-1].worst_g == pytest.approx(0.62)
    assert not any(s.alarm for s in seen)


def test_far_over_the_limit_is_an_alarm_within_two_values():
    watch = a_watch()
    assert not run(watch, [60_000.0], [1.6])[-1].alarm  # once is a spike
    assert run(watch, [60_000.0], [31.8])[-1].alarm


def test_below_the_speed_from_which_the_limit_counts_there_is_no_vibration_alarm():
    assert not any(s.alarm for s in run(a_watch(), np.full(20, 9_000.0), np.full(20, 5.0)))


def test_what_runs_away_is_an_alarm_before_it_is_there():
    speeds = np.full(60, 80_000.0)
    grows = 0.4 * np.exp(np.arange(60) * 0.06 * 1.2)  # doubles in 0.6 s
    seen = run(a_watch(), speeds, grows)
    first = next(i for i, s in enumerate(seen) if s.alarm)
    assert grows[first] < 1.5 and seen[first].sub.code == "bench.alarm.rising"


@pytest.mark.parametrize("highest_g", [0.9, 1.1])
def test_a_critical_speed_that_is_passed_is_no_alarm(highest_g):
    """A resonance of up to 2.2 times the limit, passed in half a minute: it rises fast and ends."""
    speeds = up(count=500)
    n = speeds / 47_000.0
    peak = highest_g * 0.2 * n**2 / np.hypot(1 - n**2, 0.2 * n)
    assert not any(s.alarm for s in run(a_watch(), speeds, peak))


def test_what_was_foretold_does_not_alarm_by_rising():
    speeds, high = up(count=500), 1.4
    n = speeds / 47_000.0
    peak = high * 0.1 * n**2 / np.hypot(1 - n**2, 0.1 * n)
    expected = Expected(tuple(speeds), tuple(1.05 * peak))
    assert not any(s.alarm for s in run(a_watch(expected=expected), speeds, peak))


def test_over_rated_speed_is_an_alarm_however_quiet_it_runs():
    seen = run(a_watch(), [174_000.0, 175_500.0, 177_000.0], [0.1] * 3)
    assert [s.alarm for s in seen] == [False, False, True]
    assert seen[-1].sub.code == "bench.alarm.over_rated"


def test_half_more_than_the_first_run_is_an_alarm_and_says_so():
    """What was ground went to the wrong place: 0.6 g at first, 0.95 g now, at a limit of 0.5 g."""
    watch = a_watch(first_share=1.2)
    assert not any(
        s.alarm for s in run(watch, [60_000.0] * 4, [0.7, 0.85, 0.95, 0.85])
    )  # one spike
    seen = run(watch, [60_000.0] * 2, [0.95, 0.96])
    assert seen[-1].alarm and seen[-1].sub.code == "bench.alarm.worse"
    assert seen[-1].sub.values["times"] == pytest.approx(1.6)


def test_under_the_limit_nothing_is_worse():
    """A good unit of 0.1 g that comes to 0.45 g passes still."""
    seen = run(a_watch(first_share=0.2), [60_000.0] * 4, [0.45] * 4)
    assert not any(s.alarm for s in seen)


def test_an_alarm_stays_until_the_rotor_is_slow():
    watch = a_watch()
    run(watch, [60_000.0] * 3, [2.0] * 3)
    assert watch.see(1.0, 40_000.0, 0.1, 1.0).alarm  # quiet again, and still turning
    assert watch.see(1.1, NAN, NAN, 0.0).alarm  # not even a lost mark ends it
    assert not watch.see(1.2, 9_000.0, 0.05, 1.0).alarm


def test_a_mark_that_is_lost_takes_the_angle_from_the_run():
    watch = a_watch()
    assert run(watch, up(), np.full(200, 0.2))[-1].state == "under"
    lost = [watch.see(12.0 + 0.06 * i, 90_000.0, 0.2, 0.4) for i in range(12)]
    assert lost[-1].state == "pickup"
    # it stays said: what was in doubt once places no cut in this run
    assert watch.see(20.0, 95_000.0, 0.2, 1.0).state == "pickup"


def test_a_mark_that_is_gone_is_said_too():
    watch = a_watch()
    run(watch, up(), np.full(200, 0.2))
    assert watch.see(12.1, NAN, NAN, 0.0).state == "waiting"
    assert watch.see(13.0, NAN, NAN, 0.0).state == "pickup"


def test_before_the_first_mark_it_waits():
    seen = a_watch().see(0.1, NAN, NAN, 0.0)
    assert seen.state == "waiting" and np.isnan(seen.share)


class Told:
    """A foreseer that says one thing."""

    def __init__(self, word):
        self.given = word

    def word(self, speed_rpm, vector):
        return self.given


@pytest.mark.parametrize(
    ("chance", "at_rpm", "code"),
    [
        (0.99, 118_200.0, "bench.live.will_be_over"),
        (0.90, 118_200.0, "bench.live.under"),  # not sure enough to be said
        (0.99, 60_000.0, "bench.live.under"),  # it was to be over by now, and is not
    ],
)
def test_what_is_to_come_is_said_while_it_climbs(chance, at_rpm, code):
    watch = a_watch(foreseer=cast(Foreseer, Told(Early(chance, at_rpm, 1.4))))
    watch.foresee(np.empty(0), np.empty(0, complex))
    seen = watch.see(1.0, 70_000.0, 0.2, 1.0)
    assert seen.line.code == code and not seen.alarm
    over = watch.see(1.1, 119_000.0, 0.7, 1.0)
    assert over.line.code == "bench.live.over"  # what is there leads over what was foretold
