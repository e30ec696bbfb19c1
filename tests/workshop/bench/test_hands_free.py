"""A spin that begins and ends by itself, from a source whose mark moves at a known moment."""

import time

import numpy as np
import pytest

from heavyspot.sources.live import Description, LiveBlock
from heavyspot.sources.simulated import CHANNELS
from heavyspot.workshop.bench.bench import Bench
from heavyspot.workshop.job.pieces import add_piece
from heavyspot.workshop.taking import hands_free
from heavyspot.workshop.taking.hands_free import HandsFree

RATE = 10_000.0


class Played:
    """Stands, turns, stands: seconds of each; the pickup's level is a hundredth, then a half."""

    def __init__(self, *stretches, forever=False):
        self.stretches, self.forever, self.stopped = stretches, forever, False

    def describe(self):
        return Description(CHANNELS, RATE, "clockwise", "played")

    def open(self):
        self.stopped = False

    def close(self):
        self.stopped = True

    def blocks(self):
        rng, at, size = np.random.default_rng(1), 0, 200
        for seconds, level in self.stretches:
            for _ in range(round(seconds * RATE / size)):
                data = rng.standard_normal((size, 2)).astype(np.float32) * np.float32(level)
                at += size
                yield LiveBlock(at - size, data, time.monotonic())
        while self.forever and not self.stopped:
            time.sleep(0.01)
            at += size
            data = rng.standard_normal((size, 2)).astype(np.float32) * np.float32(0.01)
            yield LiveBlock(at - size, data, time.monotonic())


def test_it_begins_before_the_mark_was_seen_to_move_and_ends_after_it_stands():
    got = list(HandsFree(Played((3.0, 0.01), (4.0, 0.5), (6.0, 0.01))).blocks())
    assert got[0].first_sample / RATE == pytest.approx(2.3, abs=0.15)  # a second before it was sure
    assert (got[-1].first_sample) / RATE == pytest.approx(9.0, abs=0.2)
    starts = [b.first_sample for b in got]
    assert starts == sorted(starts) and len(set(starts)) == len(starts)
    assert np.diff(starts).max() == 200  # nothing is missing


def test_a_standing_rotor_gives_nothing_and_a_knock_is_no_spin():
    assert list(HandsFree(Played((5.0, 0.01))).blocks()) == []
    assert list(HandsFree(Played((2.0, 0.01), (0.15, 0.5), (2.0, 0.01))).blocks()) == []


def test_a_short_gap_of_the_mark_does_not_end_it():
    got = list(
        HandsFree(Played((2.0, 0.01), (3.0, 0.5), (1.0, 0.01), (3.0, 0.5), (4.0, 0.01))).blocks()
    )
    assert got[-1].first_sample / RATE == pytest.approx(11.0, abs=0.2)


def test_what_was_armed_long_ago_is_armed_no_more(monkeypatch):
    monkeypatch.setattr(hands_free, "WAITS_S", -1.0)
    assert list(HandsFree(Played((2.0, 0.01), (3.0, 0.5))).blocks()) == []


@pytest.fixture
def bench(shop):
    made = Bench(shop, lambda _: Played(forever=True), lambda _: Played(forever=True))
    made.hands_free = True
    for serial in ("A-1", "A-2"):
        add_piece(shop, serial, "Larch 52")
    yield made
    made.disarm()


def say(bench, serial):
    for what in ("guard", "oil"):
        bench.set_ups.say(serial, what)


def test_the_yes_arms_it_and_taking_it_back_disarms(bench):
    bench.arm("A-1")
    assert not bench.armed
    say(bench, "A-1")
    bench.arm("A-1")
    assert bench.armed == "A-1" and bench.question("A-1") == "prepare" and not bench.spins("A-1")
    bench.set_ups.say("A-1", "oil")
    bench.arm("A-1")
    assert not bench.armed and bench.capture is None
    assert {p.name for p in bench.folder.iterdir()} <= {
        "owner.lock"
    }  # nothing was captured, nothing is left


def test_the_air_of_another_piece_is_never_written_to_the_armed_one(bench):
    say(bench, "A-1")
    bench.arm("A-1")
    say(bench, "A-2")
    bench.arm("A-2")
    assert bench.armed == "A-2"


def test_without_hands_free_nothing_begins_by_itself(bench):
    bench.hands_free = False
    say(bench, "A-1")
    bench.arm("A-1")
    assert bench.capture is None


def test_a_stop_before_the_device_was_open_stops_it(bench):
    class Slow(Played):
        def open(self):
            time.sleep(0.3)
            super().open()

    bench.factory = lambda _: Slow(forever=True)
    say(bench, "A-1")
    bench.arm("A-1")
    bench.disarm()
    assert not bench.armed and bench.capture is None
