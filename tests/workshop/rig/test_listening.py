"""Listening to a rig while it is connected: levels against what was put in, turns by hand, a device that goes."""

import threading
import time

import numpy as np
import pytest

from heavyspot.quantities.errors import SourceLost
from heavyspot.sources.live import Description, LiveBlock
from heavyspot.sources.recording import Channel
from heavyspot.workshop.demo.hand_turned import HandTurnedLive
from heavyspot.workshop.rig.listening import Listening, marks

RATE = 48_000.0
SENSOR = Channel("housing", "acceleration", "V", 10.0, (100.0, "mV/g"), clock=3.0)
OTHER = Channel("spare", "other", "V", 10.0)


class Given:
    """Blocks as they are given, as fast as they are taken; then it waits until it is closed, or is lost."""

    def __init__(self, data, *, loses=False):
        self.data, self.loses, self.closed = np.asarray(data, np.float32), loses, threading.Event()

    def describe(self):
        return Description((SENSOR, OTHER)[: self.data.shape[1]], RATE, None, "r")

    def open(self):
        self.closed.clear()

    def close(self):
        self.closed.set()

    def blocks(self):
        for at in range(0, len(self.data), 960):
            yield LiveBlock(at, self.data[at : at + 960], time.monotonic(), 3 if at == 960 else 0)
        if self.loses:
            raise SourceLost("The input delivers nothing any more.", remedy="Check its cable.")
        self.closed.wait(60)


def heard_when(listening, true):
    until = time.monotonic() + 60
    while time.monotonic() < until:
        heard = listening.heard()
        if true(heard):
            return heard
        time.sleep(0.01)
    raise AssertionError(f"never heard: {listening.heard()}")


def test_a_sine_s_rms_is_read_in_g_and_an_open_input_is_silent():
    t = np.arange(round(RATE)) / RATE
    sine = 0.02 * np.sin(2 * np.pi * 1000 * t)  # of 10 V: 0.2 V peak, 2 g peak at 100 mV/g
    listening = Listening(Given(np.column_stack([sine, np.zeros_like(t)])))
    heard = heard_when(listening, lambda h: len(h.inputs[0].strip) == 50)
    sensor, spare = heard.inputs
    assert sensor.rms_g == pytest.approx(
        2 / np.sqrt(2), rel=1e-3
    )  # any textbook: peak over root two
    assert sensor.peak == pytest.approx(0.02, rel=1e-3) and sensor.state == "alive"
    assert (spare.state, spare.rms_g) == ("silent", None)
    assert heard.lost == 3
    listening.stop()
    assert not listening.running


def test_an_input_at_full_scale_is_said_to_be():
    listening = Listening(
        Given(np.clip(2 * np.random.default_rng(1).standard_normal((9600, 1)), -1, 1))
    )
    assert heard_when(listening, lambda h: h.inputs[0].strip).inputs[0].state == "full"
    listening.stop()


def test_a_device_that_goes_is_said_with_what_to_do():
    listening = Listening(Given(np.zeros((960, 1)), loses=True))
    heard = heard_when(listening, lambda h: h.fault)
    assert "nothing any more" in heard.fault and "cable" in heard.fault


def test_a_device_nobody_asks_about_is_let_go():
    source = HandTurnedLive(pace=50.0)
    listening = Listening(source, patience_s=0.0)
    until = time.monotonic() + 60
    while listening.running and time.monotonic() < until:
        time.sleep(0.01)
    assert not listening.running


def test_turns_by_hand_are_counted_as_they_were_made():
    listening = Listening(HandTurnedLive(pace=40.0))
    heard = heard_when(listening, lambda h: len(h.inputs[1].strip) > 590)
    assert heard.inputs[1].marks in (9, 10)  # 12 s at a turn in 1.3 s
    assert heard.inputs[0].marks == 0
    listening.stop()


@pytest.mark.parametrize("turns", [0, 1, 5])
def test_marks_need_to_stand_out_of_the_hum(turns):
    rng = np.random.default_rng(5)
    strip = [(0.02 * i, float(0.01 + 0.001 * rng.random())) for i in range(500)]
    for k in range(turns):
        at = 50 + 80 * k
        strip[at] = (strip[at][0], 0.3)
        strip[at + 1] = (strip[at + 1][0], 0.25)  # a pulse over the edge of two blocks is one
    assert len(marks(strip)) == turns
