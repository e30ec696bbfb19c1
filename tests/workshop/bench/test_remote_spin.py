"""What a bench shows of a spin that an agent captures: late figures are not new ones, a hole hides no peak."""

import threading
import time

import numpy as np
import pytest

from heavyspot.balance.limits import Limit
from heavyspot.quantities.errors import LedgerFault
from heavyspot.workshop.bench.remote import AgentSays, Remote
from heavyspot.workshop.bench.remote_spin import GONE_S, RemoteSpin, Streamed
from heavyspot.workshop.bench.watch import Watch
from heavyspot.workshop.taking.following import Figures

THERE = 5_000_000.0
"""An agent's monotonic clock began long before this one."""


def watch(**more):
    return Watch(Limit("house", (0.0,), (0.5,)), 22_500.0, 175_000.0, **more)


def said(time_s, *, late_s=0.0, speed=60_000.0, g=0.2, spin="one", serial="P/1", **more):
    """Return what was said `late_s` ago, by an agent whose clock is another."""
    at = time.monotonic() + THERE - late_s
    return Streamed(spin, serial, at, (Figures(time_s, at - 0.01, speed, g, trusted=1.0),), **more)


def test_times_of_an_agent_s_clock_are_told_on_this_one():
    spin = RemoteSpin("one", "P/1", watch())
    spin.take(said(1.0))
    shot = spin.wait_for(0, 0.0)
    assert shot is not None and 0.0 <= time.monotonic() - shot.sampled_at_s < 0.5
    assert (shot.time_s, shot.speed_rpm, shot.seen.state) == (1.0, 60_000.0, "under")


def test_what_was_held_up_on_the_way_is_not_shown_as_what_it_does_now():
    spin = RemoteSpin("one", "P/1", watch())
    spin.take(said(1.0))
    first = spin.wait_for(0, 0.0)
    assert first is not None
    spin.take(said(2.0, late_s=5.0, g=0.9))
    assert spin.wait_for(first.number, 0.0) is None
    spin.take(said(7.0, g=0.2))
    now = spin.wait_for(first.number, 0.0)
    assert now is not None and now.amplitude_g == 0.2
    assert now.seen.state == "over" and now.seen.worst_g == 0.9  # it counts all the same


def test_figures_that_stay_away_are_old_within_a_second():
    spin = RemoteSpin("one", "P/1", watch())
    spin.take(said(1.0))
    time.sleep(1.2)
    assert spin.wait_for(0, 0.0) is None and spin.running


def test_what_was_said_twice_counts_once():
    spin = RemoteSpin("one", "P/1", watch())
    message = said(1.0)
    spin.take(message)
    spin.take(message)
    shot = spin.wait_for(0, 0.0)
    assert shot is not None and shot.number == 1


@pytest.mark.parametrize(
    ("peak", "state"), [((0.7, 0.6), "over"), ((2.0, 1.9), "alarm"), ((2.0, 0.3), "over")]
)
def test_a_peak_that_was_passed_while_nothing_came_is_said(peak, state):
    """The cable was out, or the server was started again: under the limit now is not under it so far."""
    curve = np.array([[40_000.0, 50_000.0, 50_500.0, 60_000.0], [0.1, *peak, 0.2]])
    spin = RemoteSpin("one", "P/1", watch())
    spin.take(said(8.0, curve=curve))
    shot = spin.wait_for(0, 0.0)
    assert shot is not None and shot.seen.state == state and shot.seen.worst_g == peak[0]


def test_a_peak_below_the_speeds_that_count_is_none():
    curve = np.array([[10_000.0, 12_000.0, 60_000.0], [3.0, 3.0, 0.2]])
    spin = RemoteSpin("one", "P/1", watch())
    spin.take(said(8.0, curve=curve))
    shot = spin.wait_for(0, 0.0)
    assert shot is not None and shot.seen.state == "under"


def test_a_speed_over_the_rated_one_in_a_hole_is_an_alarm():
    spin = RemoteSpin("one", "P/1", watch())
    spin.take(said(8.0, curve=np.array([[60_000.0, 180_000.0], [0.1, 0.2]])))
    shot = spin.wait_for(0, 0.0)
    assert shot is not None and shot.seen.alarm


def test_the_last_word_ends_it_and_wakes_who_waits():
    spin = RemoteSpin("one", "P/1", watch())
    spin.take(said(1.0))
    threading.Timer(0.2, lambda: spin.take(said(1.1, ended=True))).start()
    begun = time.monotonic()
    assert spin.wait_for(1, 30.0) is not None and time.monotonic() - begun < 20
    assert not spin.running


def test_a_spin_nobody_hears_of_any_more_is_over():
    remote = Remote()
    remote.stream(said(1.0), "me", watch)
    assert remote.spins == "P/1"
    assert remote.spin is not None
    remote.spin._heard_at_s -= GONE_S + 1
    assert remote.spins == ""


def test_another_spin_ends_the_one_before():
    remote = Remote()
    remote.stream(said(1.0), "me", watch)
    first = remote.spin
    remote.stream(said(0.5, spin="two"), "me", watch)
    assert first is not None and not first.running
    assert remote.spin is not None and remote.spin.running


def test_an_ended_spin_waits_at_the_rig_until_it_is_here():
    remote = Remote()
    remote.hear(AgentSays("P/1"), "me")
    remote.stream(said(1.0), "me", watch)
    remote.stream(said(1.1, ended=True), "me", watch)
    assert (remote.spins, remote.said.waiting) == ("", 1)


def test_two_agents_do_not_speak_for_one_rig():
    """Each would be told what is on the rig, and the spins of both would be that piece's."""
    remote = Remote()
    remote.hear(AgentSays("P/1"), "me")
    with pytest.raises(LedgerFault, match="Another agent"):
        remote.hear(AgentSays("P/2"), "you")
    with pytest.raises(LedgerFault, match="Another agent"):
        remote.stream(said(1.0, serial="P/2"), "you", watch)
    assert remote.spins == "P/1"
    remote.heard_at_s = time.monotonic() - 60
    remote.hear(AgentSays("P/2"), "you")  # the other computer was replaced
    assert remote.spins == "P/2"
