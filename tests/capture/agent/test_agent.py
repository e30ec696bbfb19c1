"""An agent beside its rig: captures whatever the line does, survives being killed, is told what is on it."""

import json
import os
import queue
import signal
import subprocess
import threading
import time
import urllib.parse
import urllib.request

import numpy as np
import pytest
from capture.agent.test_sending import RIG, archived, furnished, laid, runs
from capture.several.fake_digitiser import emitted, installed, on_the_path, rig_text
from conftest import there
from web.browser.program import PROGRAM, Server

from heavyspot.quantities.errors import LedgerFault, SourceLost
from heavyspot.sources.sound_card import load_rig_file
from heavyspot.workshop.agent.agent import Agent
from heavyspot.workshop.agent.line import Line
from heavyspot.workshop.agent.spins import Spins

STANDS_S, PACE = 3, 3


@pytest.fixture
def rig(tmp_path, monkeypatch):
    on_the_path(tmp_path / "drivers", monkeypatch)
    return tmp_path / "rig.toml"


def spins_once(rig, seed, spins=1, stands_s=STANDS_S):
    counter = rig.with_name("spins-made")
    text = rig_text(RIG, seed, stands_s=stands_s, spins=spins, counter=counter, pace=PACE)
    rig.write_text(text.replace('"1"', "1"))
    return load_rig_file(rig)


class Program:
    """The agent as a user starts it; its words come line by line."""

    def __init__(self, rig, url, folder, *more):
        self.process = subprocess.Popen(
            [str(PROGRAM), "agent", str(rig), "--to", url, "--keep", str(folder), "--operator", "Ines", *more],
            stdin=subprocess.PIPE, stdout=subprocess.PIPE, stderr=subprocess.STDOUT, text=True, bufsize=1,
            env={**os.environ, "PYTHONPATH": str(installed(rig.parent / "drivers")), "PYTHONUNBUFFERED": "1"},
        )  # fmt: skip
        self.said: list[str] = []
        self._lines: queue.SimpleQueue[str] = queue.SimpleQueue()
        threading.Thread(target=self._read, daemon=True).start()

    def _read(self):
        for text in there(self.process.stdout):
            self._lines.put(text.strip())

    def until(self, words, most_s=60):
        end = time.monotonic() + most_s
        while not any(words in text for text in self.said):
            assert time.monotonic() < end, self.said
            try:
                self.said.append(self._lines.get(timeout=0.2))
            except queue.Empty:
                continue

    def type(self, text):
        there(self.process.stdin).write(text + "\n")
        there(self.process.stdin).flush()

    def end(self, how=signal.SIGTERM):
        if self.process.poll() is None:
            self.process.send_signal(how)
        self.process.wait(30)
        there(self.process.stdin).close()
        there(self.process.stdout).close()


def put_on(url, serial):
    request = urllib.request.Request(
        f"{url}/api/benches/{urllib.parse.quote(RIG)}/piece", json.dumps({"serial": serial}).encode(),
        {"Content-Type": "application/json"},
    )  # fmt: skip
    return json.loads(urllib.request.urlopen(request, timeout=10).read())


def benches(url):
    return json.loads(urllib.request.urlopen(f"{url}/api/benches", timeout=10).read())


def inside(samples, whole):
    """Whether samples are one unbroken part of what a device emitted; returns where they begin."""
    first = samples[:64]
    for at in np.flatnonzero((whole[:, 0] == first[0, 0]) & (whole[:, 1] == first[0, 1])):
        if np.array_equal(whole[at : at + len(samples)], samples):
            return int(at)
    raise AssertionError("the samples are not what was emitted")


@pytest.mark.slow
def test_told_by_the_server_what_is_on_the_rig(tmp_path, rig):
    furnished(tmp_path / "data", 2)
    server = Server(tmp_path / "data", demo=False)
    spins_once(rig, 21, stands_s=45)  # time to be told
    agent = Program(rig, server.url, tmp_path / "spins")
    try:
        agent.until("On rig A")
        end = time.monotonic() + 30
        while [b["rig"] for b in benches(server.url)] != [RIG]:  # it made itself known
            assert time.monotonic() < end
            time.sleep(0.1)
        put_on(server.url, "P/1")
        agent.until("is run 1 of P/1")
        assert benches(server.url)[0]["on_it"] == "P/1"
    finally:
        agent.end()
        server.stop()
    assert agent.process.returncode == 0
    samples = archived(server.data, "P/1")
    whole = emitted(21, stands_s=45)
    at = inside(samples, whole)
    assert at < 45 * 51_200 and at + len(samples) > len(whole) - 45 * 51_200
    (run,) = runs(server.data, "P/1")
    assert (run.entry.by, run.entry.rig) == ("Ines", RIG)
    assert list((tmp_path / "spins").glob("*.wav"))  # until its grace is over


@pytest.mark.slow
def test_the_cable_is_out_and_the_serial_is_typed(tmp_path, rig):
    furnished(tmp_path / "data", 2)
    server = Server(tmp_path / "data", demo=False)
    server.stop()
    spins_once(rig, 22)
    agent = Program(rig, server.url, tmp_path / "spins")
    try:
        agent.type("P/2")
        agent.until("On rig A: P/2")
        agent.until("P/2 spins")
        agent.until("lies here: P/2")
        agent.end()  # and the small computer is turned off
        agent = Program(rig, server.url, tmp_path / "spins")
        agent.until("On rig A: P/2. 1 spins wait here")
        server.start()
        agent.until("is run 1 of P/2")
        assert benches(server.url)[0]["on_it"] == "P/2"  # what was typed there is known here
    finally:
        agent.end()
        server.stop()
    inside(archived(server.data, "P/2"), emitted(22, stands_s=STANDS_S))


@pytest.mark.slow
def test_an_agent_killed_mid_spin_hands_on_what_was_written(tmp_path, rig):
    furnished(tmp_path / "data", 2)
    server = Server(tmp_path / "data", demo=False)
    spins_once(rig, 23)
    agent = Program(rig, server.url, tmp_path / "spins")
    try:
        agent.type("P/1")
        agent.until("P/1 spins")
        time.sleep(1.0)
        agent.end(signal.SIGKILL)
        (_,) = (tmp_path / "spins").glob("*.wav")
        agent = Program(rig, server.url, tmp_path / "spins")
        agent.until("is run 1 of P/1")
        time.sleep(4)
    finally:
        agent.end()
        server.stop()
    samples = archived(server.data, "P/1")
    assert len(runs(server.data, "P/1")) == 1 and len(samples) > 51_200
    inside(samples, emitted(23, stands_s=STANDS_S))


class NoLine(Line):
    def ask(self, *a, **k):
        raise SourceLost("The line is down.", remedy="")


def test_two_agents_never_share_a_folder(tmp_path, rig):
    spins_once(rig, 1)
    one = Agent(load_rig_file(rig), tmp_path / "spins", NoLine("http://127.0.0.1:1"))
    with pytest.raises(LedgerFault, match="Another agent"):
        Agent(load_rig_file(rig), tmp_path / "spins", NoLine("http://127.0.0.1:1"))
    assert one.piece == ""


def agent_of(tmp_path, rig, line, **how):
    spins_once(rig, 1)
    return Agent(load_rig_file(rig), tmp_path / "spins", line, **how)


class Told(Line):
    """Answers what it is told to, and notes what was asked."""

    def __init__(self, on_it="P/1", runs=()):
        super().__init__("http://127.0.0.1:1")
        self.on_it, self.runs, self.asked = on_it, list(runs), []

    def say(self, rig, said):
        self.asked.append(said)
        return {
            "on_it": said["typed"] or self.on_it,
            "refused": "",
            "now": "2026-11-27T08:00:00+00:00",
        }

    def ask(self, method, path, *a, **k):
        from heavyspot.workshop.agent.line import Answer

        return Answer(200, {}, json.dumps({"runs": [{"run": r} for r in self.runs]}).encode())


def test_the_server_s_word_counts_for_a_while_only(tmp_path, rig, monkeypatch):
    """A person may have changed the piece meanwhile: what nobody knows is not written down as known."""
    agent = agent_of(tmp_path, rig, Told())
    agent._word_if_due()
    assert agent.piece == "P/1"
    agent._heard_at -= 3600
    assert agent.piece == ""
    agent.put_on("P/7")
    agent._heard_at -= 3600
    assert agent.piece == "P/7"  # typed here: it stays


def test_a_spin_goes_only_after_its_grace_and_when_the_server_still_has_it(tmp_path, rig):
    from heavyspot.workshop.agent.spins import Sent

    line = Told(runs=[])
    agent = agent_of(tmp_path, rig, line, grace_s=100.0)
    spins, spin = laid(tmp_path / "spins", "P/1")
    spins.proved(spin, Sent("P/1", "run-1", 1, "d", time.time() - 50))
    line.runs = ["run-1"]
    agent._remove_old()
    assert spin.path.exists()
    spins.proved(spin, Sent("P/1", "run-1", 1, "d", time.time() - 500))
    line.runs = ["another"]
    agent._remove_old()
    assert spin.path.exists()
    line.runs = ["run-1"]
    agent._remove_old()
    assert not list((tmp_path / "spins").glob(f"{spin.id}*"))


def test_a_spin_that_is_nobody_s_holds_up_no_other(tmp_path, rig, monkeypatch):
    agent = agent_of(tmp_path, rig, Told())
    laid(tmp_path / "spins", "", seed=1)
    _, known = laid(tmp_path / "spins", "P/1", seed=2)
    tried = []
    monkeypatch.setattr("heavyspot.workshop.agent.spins.SETTLED_S", 0.0)
    monkeypatch.setattr(agent, "_send", lambda spin: tried.append(spin.id))
    agent._send_next()
    assert tried == [known.id]


def test_the_spins_here_are_listed_and_said_whose(tmp_path, rig, capsys):
    from typer.testing import CliRunner

    from heavyspot.cli.main import app

    spins_once(rig, 1)
    _, spin = laid(tmp_path / "spins", "", seed=1)
    run = CliRunner().invoke
    told = run(app, ["agent", str(rig), "--keep", str(tmp_path / "spins"), "--spins"])
    assert f"{spin.id}  2026-05-04T06:00:00.000Z  ?  not sent" in told.output
    told = run(
        app, ["agent", str(rig), "--keep", str(tmp_path / "spins"), "--whose", f"{spin.id}=P/3"]
    )
    assert "P/3  not sent" in told.output
    assert Spins(tmp_path / "spins").all()[0].whose.serial == "P/3"
