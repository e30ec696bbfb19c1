"""Slow channels: a value has its time; old, garbled, missing is no value."""

import os
import time

import pytest
from conftest import there
from pydantic import ValidationError

from heavyspot.quantities.errors import SourceLost
from heavyspot.sources.devices import slow
from heavyspot.sources.devices.slow import SlowChannel, SlowChannels, SlowReader, serial_port
from heavyspot.workshop.taking.oil import NO_OIL, measured_oil


def channel(quantity="oil temperature", unit="°C", line=r"T=(?P<value>[-+0-9.]+)", **more):
    return SlowChannel.model_validate(
        {
            "name": quantity,
            "quantity": quantity,
            "unit": unit,
            "port": "x",
            "line": line,
            "every_s": 0.05,
            **more,
        }
    )


@pytest.mark.parametrize(
    ("quantity", "unit", "text", "value"),
    [
        ("oil temperature", "°C", "T=68.5\r\n", 68.5),
        ("oil temperature", "K", "T=341.65", 68.5),
        ("oil temperature", "°F", "T=212", 100.0),  # boiling water on both scales
        ("oil pressure", "bar", "T=3.2", 320.0),
        ("oil pressure", "psi", "T=14.696", 101.325),  # the standard atmosphere on both
        ("speed", "Hz", "T=2500", 150_000.0),
        ("oil temperature", "°C", "T=68.5 T=70", None),
        ("oil temperature", "°C", "=68.5", None),
        ("oil temperature", "°C", "T=..", None),
        ("oil temperature", "°C", "T=-999.9", None),  # a broken wire, as such instruments say it
        ("oil pressure", "bar", "T=-1", None),
        ("speed", "rpm", "T=9999999", None),
    ],
)
def test_a_line_is_read_or_is_no_value(quantity, unit, text, value):
    read = channel(quantity, unit).read(text)
    assert read is None if value is None else read == pytest.approx(value, abs=0.01)


@pytest.mark.parametrize(
    ("wrong", "words"),
    [
        ({"unit": "bar"}, "unit bar is none of oil temperature"),
        ({"line": "T=([0-9]+)"}, "no group"),
        ({"line": "T=(?P<value>["}, "no regular expression"),
    ],
)
def test_a_rig_file_that_cannot_be_meant_is_refused(wrong, words):
    with pytest.raises(ValidationError, match=words.replace("(", r"\(")):
        channel(**wrong)


class Port:
    """A serial port with the reading half of pyserial's interface."""

    def __init__(self, chunks):
        self.chunks, self.closed, self.asked = list(chunks), False, 0

    def read_until(self, expected, size):
        time.sleep(0.005)
        if not self.chunks:
            return b""
        chunk = self.chunks.pop(0)
        if isinstance(chunk, Exception):
            raise chunk
        return chunk

    def write(self, content):
        self.asked += 1
        self.chunks.append(b"T=%d\r\n" % (60 + self.asked))

    def reset_input_buffer(self):
        self.chunks.clear()

    def close(self):
        self.closed = True


def until(true, most_s=5.0):
    end = time.monotonic() + most_s
    while not true():
        assert time.monotonic() < end
        time.sleep(0.01)


def reader_of(port, **more):
    made = SlowReader(channel(**more), lambda _: port)
    made.start()
    return made


def test_the_first_line_may_be_half_and_a_line_in_pieces_is_one():
    reader = reader_of(Port([b"68.5\n", b"T=7", b"1.5\n"]))
    until(lambda: reader.now() is not None)
    assert reader.now().value == 71.5
    reader.stop()


def test_half_a_line_is_no_value():
    """What begins in the middle may read as a smaller number: T=168 as 8 where the pattern is loose."""
    reader = reader_of(Port([b"8\n"]), line="(T=)?(?P<value>[0-9]+)")
    time.sleep(0.1)
    assert reader.now() is None
    reader.stop()


def test_a_silent_sensor_is_not_measured():
    reader = reader_of(Port([b"\n", b"T=70\n"]), stale_s=0.2)
    until(lambda: reader.now() is not None)
    time.sleep(0.3)
    assert reader.now() is None
    reader.stop()


def test_garbage_keeps_no_old_value_alive():
    reader = reader_of(Port([b"\n", b"T=70\n", *[b"?\xff\xfe\n"] * 100]), stale_s=0.2)
    until(lambda: reader.now() is not None)
    time.sleep(0.4)
    assert reader.now() is None
    reader.stop()


def test_unplugged_is_said_at_once_and_opened_again(monkeypatch):
    monkeypatch.setattr(slow, "AGAIN_S", 0.05)
    ports = [Port([b"\n", b"T=70\n", OSError("gone")]), Port([b"\n", b"T=72\n"])]
    reader = SlowReader(channel(), lambda _: ports.pop(0) if ports else Port([]))
    reader.start()
    until(lambda: (v := reader.now()) is not None and v.value == 72)
    reader.stop()


def test_one_that_is_asked_answers_to_this_question():
    port = Port([b"T=5\n"])  # an answer that came late
    reader = reader_of(port, ask="?\r\n")
    until(lambda: port.asked > 3)
    assert reader.now().value > 60
    reader.stop()


def test_oil_at_the_bench_is_what_is_measured_or_nothing():
    warm, dead = (
        reader_of(Port([b"\n", *[b"T=70\n"] * 400])),
        SlowReader(channel("oil pressure", "bar"), lambda _: Port([])),
    )
    readers = SlowChannels.__new__(SlowChannels)
    readers._readers = [warm, dead]
    until(lambda: warm.now() is not None)
    assert measured_oil(readers) == (70.0, None)
    assert readers.now("speed") is None and measured_oil(None) == NO_OIL
    warm.stop()


def test_a_real_port_through_pyserial():
    """A pseudo-terminal: what the kernel gives for a serial port."""
    pytest.importorskip("serial")
    if not hasattr(os, "openpty"):
        pytest.skip("no pseudo-terminals on this system")
    ours, theirs = os.openpty()
    reader = SlowReader(channel(port=os.ttyname(theirs)))
    reader.start()

    def spoken():
        os.write(ours, b"T=66.6\r\n")
        time.sleep(0.05)
        return reader.now() is not None

    until(spoken)
    assert there(reader.now()).value == 66.6
    reader.stop()
    os.close(ours)
    os.close(theirs)


def test_a_port_that_is_not_there_is_named():
    pytest.importorskip("serial")
    with pytest.raises(SourceLost, match="/dev/none-such of oil temperature cannot be opened"):
        serial_port(channel(port="/dev/none-such"))


def test_without_pyserial_the_extra_is_named(monkeypatch):
    import sys

    monkeypatch.setitem(sys.modules, "serial", None)
    with pytest.raises(SourceLost, match="pyserial is not installed") as fault:
        serial_port(channel())
    assert "pip install heavyspot[serial]" in fault.value.remedy
