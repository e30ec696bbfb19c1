"""An agent's slow channels: told to the server, kept with each spin as they are when it begins, never older."""

import json
import time

import numpy as np
import pytest
from capture.agent.test_agent import Told, agent_of, benches, rig, spins_once
from capture.agent.test_sending import RIG, furnished, runs
from sources.devices.test_slow import channel
from web.browser.program import Server

from heavyspot.sources.devices.slow import SlowChannels, SlowReader
from heavyspot.sources.live import Description, LiveBlock
from heavyspot.sources.simulated import CHANNELS
from heavyspot.workshop.agent import agent as agents
from heavyspot.workshop.agent.agent import Agent
from heavyspot.workshop.agent.line import Line
from heavyspot.workshop.agent.sending import sidecar_of
from heavyspot.workshop.bench.remote import SLOW_FOR_S, AgentSays, Remote
from heavyspot.workshop.taking.disk_first import About, Beside

__all__ = ["rig"]  # a fixture


class Talking:
    """A serial port whose instrument says the same again and again; silent where it says nothing."""

    def __init__(self, text):
        self.text = text

    def read_until(self, expected, size):
        time.sleep(0.02)
        return self.text

    def close(self):
        pass


def talking(text):
    return lambda _: Talking(text)


def measuring(temperature=b"T=68.5\n", pressure=b"T=3.2\n"):
    """Return the slow channels of instruments that say these lines, once those that speak have spoken."""
    said = (("oil temperature", "°C", temperature), ("oil pressure", "bar", pressure))
    readers = [SlowReader(channel(quantity, unit), talking(text)) for quantity, unit, text in said]
    slow = SlowChannels(readers)
    until(lambda: all(slow.now(quantity) or not text for quantity, _, text in said))
    return slow


def until(true, most_s=60.0):
    end = time.monotonic() + most_s
    while not true():
        assert time.monotonic() < end
        time.sleep(0.05)


def test_the_oil_is_kept_with_the_run_and_the_server_shows_it(tmp_path, rig):
    furnished(tmp_path / "data", 1)
    server = Server(tmp_path / "data", demo=False)
    slow = measuring()
    agent = Agent(
        spins_once(rig, 22), tmp_path / "spins", Line(server.url), operator="Ines", slow=slow
    )
    agent.put_on("P/1")
    try:
        agent.start()
        until(lambda: [b["rig"] for b in benches(server.url)] == [RIG])
        (shown,) = benches(server.url)
        assert shown["slow"] == {"oil temperature": 68.5, "oil pressure": 320.0, "speed": None}
        assert shown["agent"]["there"] and "slow" not in shown["agent"]
        until(lambda: any(s.sent for s in agent.spins.all()))
    finally:
        agent.stop()
        server.stop()
    (run,) = runs(server.data, "P/1")
    oil = run.conditions.recording.oil
    assert (oil.temperature_c, oil.pressure_kpa) == (68.5, 320.0)
    assert slow.now("oil temperature") is None  # its instruments are let go with it


@pytest.mark.parametrize(
    ("says", "kept"),
    [
        ({}, {"temperature_c": 68.5, "pressure_kpa": 320.0}),
        ({"pressure": b""}, {"temperature_c": 68.5}),
        ({"temperature": b"", "pressure": b""}, None),
    ],
)
def test_what_is_silent_is_not_said(tmp_path, rig, says, kept):
    agent = agent_of(tmp_path, rig, Told(), slow=measuring(**says))
    path = agent.spins.place("one")
    beside = Beside(
        About(""), Description(CHANNELS, 51_200.0, "clockwise", RIG), "2026-05-04T06:00:00Z"
    )
    beside.write(path)
    agent._with_oil(path, beside)
    assert json.loads(path.with_suffix(".json").read_text()).get("oil") == kept
    assert json.loads(sidecar_of(agent.spins.read(path), 0.0)).get("oil") == kept


class Losing:
    """Takes a spin that loses samples: who takes them writes down how many, and knows of no oil."""

    error, lost = "", 7

    def __init__(self, order, took):
        self.order, self.took = order, took

    def start(self):
        self.order.path.write_bytes(bytes(1000))
        block = LiveBlock(0, np.zeros((8, 2), np.float32), time.monotonic(), 7)
        self.took(block)

    def join(self):
        self.order.beside.write(self.order.path, self.lost)

    def stop(self):
        pass


def test_lost_samples_lose_no_oil(tmp_path, rig, monkeypatch):
    monkeypatch.setattr(agents, "OwnProcess", Losing)
    agent = agent_of(tmp_path, rig, Told(), slow=measuring())
    agent._one_spin()
    (beside,) = (tmp_path / "spins").glob("????*-*.json")
    kept = json.loads(beside.read_text())
    assert kept["lost_samples"] == 7
    assert kept["oil"] == {"temperature_c": 68.5, "pressure_kpa": 320.0}


def test_an_agent_without_instruments_says_nothing_of_them(tmp_path, rig):
    line = Told()
    agent_of(tmp_path, rig, line)._word_if_due()
    assert "slow" not in line.asked[0]


def test_what_was_said_too_long_ago_is_no_value():
    remote = Remote()
    assert remote.slow == {}
    remote.hear(AgentSays(slow={"oil temperature": 68.5, "oil pressure": None}))
    assert remote.slow == {"oil temperature": 68.5, "oil pressure": None}
    assert remote.heard_at_s is not None
    remote.heard_at_s -= SLOW_FOR_S
    assert remote.there
    assert remote.slow == {"oil temperature": None, "oil pressure": None}
