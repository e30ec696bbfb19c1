"""An agent's spin is seen at the shop's bench while it runs; a broken line shows nothing old and loses nothing."""

import json
import select
import socket
import threading
import time
import urllib.request

import numpy as np
import pytest
import soundfile
from capture.agent.test_agent import Program, inside
from capture.agent.test_sending import RIG, archived, furnished, runs
from capture.several.fake_digitiser import emitted, on_the_path, rig_text
from web.browser.program import Server
from websockets.sync.client import connect

from heavyspot.quantities.errors import SourceLost
from heavyspot.sources.live import BLOCK_S, Description, LiveBlock
from heavyspot.sources.simulated import CHANNELS
from heavyspot.workshop.agent import live
from heavyspot.workshop.agent.line import Line, Refused
from heavyspot.workshop.agent.spins import sha256_of

STANDS_S, PACE = 3, 0.5


class Cable:
    """A line to a server that can be pulled: its connections break, and none comes through until it is in again."""

    def __init__(self, port):
        self._to = port
        self._in, self._open = True, set()
        self._lock = threading.Lock()
        self._listening = socket.create_server(("127.0.0.1", 0))
        self.url = f"http://127.0.0.1:{self._listening.getsockname()[1]}"
        threading.Thread(target=self._accept, daemon=True).start()

    def pull(self):
        with self._lock:
            self._in = False
            for one in self._open:
                one.close()
            self._open.clear()

    def plug(self):
        self._in = True

    def close(self):
        self.pull()
        self._listening.close()

    def _accept(self):
        while True:
            try:
                here, _ = self._listening.accept()
            except OSError:
                return
            with self._lock:
                if not self._in:
                    here.close()
                    continue
                try:
                    there = socket.create_connection(("127.0.0.1", self._to))
                except OSError:
                    here.close()
                    continue
                self._open |= {here, there}
            threading.Thread(target=self._carry, args=(here, there), daemon=True).start()

    def _carry(self, here, there):
        try:
            while True:
                ready, _, _ = select.select([here, there], [], [], 0.2)
                for one in ready:
                    data = one.recv(1 << 16)
                    if not data:
                        return
                    (there if one is here else here).sendall(data)
        except (OSError, ValueError):
            return
        finally:
            with self._lock:
                self._open -= {here, there}
            here.close()
            there.close()


def asked(url):
    return json.loads(urllib.request.urlopen(url, timeout=10).read())


def until(true, most_s=90):
    end = time.monotonic() + most_s
    while not true():
        assert time.monotonic() < end
        time.sleep(0.05)


@pytest.fixture
def rig(tmp_path, monkeypatch):
    on_the_path(tmp_path / "drivers", monkeypatch)
    path = tmp_path / "rig.toml"
    text = rig_text(RIG, 31, stands_s=STANDS_S, spins=1, counter=tmp_path / "spins-made", pace=PACE)
    path.write_text(text.replace('"1"', "1"))
    return path


def spinning(server, serial):
    return asked(f"{server.url}/api/v1/bench/{serial}")["question"] == "spinning"


@pytest.mark.slow
def test_a_cable_pulled_mid_spin_shows_nothing_old_and_loses_nothing(tmp_path, rig):
    furnished(tmp_path / "data", 2)
    server = Server(tmp_path / "data", demo=False)
    cable = Cable(server.port)
    agent = Program(rig, cable.url, tmp_path / "spins")
    try:
        agent.until("On rig A")
        agent.type("P/1")
        until(lambda: spinning(server, "P/1"))
        assert 'data-question="spinning"' in asked_text(f"{server.url}/bench/P/1")
        before: list[dict] = []
        silent: list[dict] = []
        after: list[dict] = []
        with connect(f"ws://127.0.0.1:{server.port}/bench/P/1/live") as bench:
            while len(before) < 5 or not before[-1]["speed_rpm"]:
                message = json.loads(bench.recv(timeout=30))
                before += [message] if "t" in message else []
            cable.pull()
            pulled = time.monotonic()
            while time.monotonic() - pulled < 3.0:
                message = json.loads(bench.recv(timeout=30))
                if time.monotonic() - pulled > 1.0:  # what was on its way has come
                    silent.append(message)
            cable.plug()
            while "end" not in (message := json.loads(bench.recv(timeout=60))):
                after += [message] if "t" in message else []
        agent.until("is run 1 of P/1", most_s=120)
    finally:
        agent.end()
        cable.close()
        server.stop()
    assert silent and all(message == {"quiet": True} for message in silent)
    assert after[0]["t"] > before[-1]["t"] + 0.5
    for message in before + after:
        assert message["age_ms"] <= 1000 and message["say"]["line"]
    curve = next(m["curve"] for m in reversed(after) if "curve" in m)
    assert len(curve) > 20 and max(s for s, _ in curve) > 60_000  # what was passed meanwhile too
    (run,) = runs(server.data, "P/1")
    (wav,) = (tmp_path / "spins").glob("*.wav")
    sent = json.loads(wav.with_suffix(".sent").read_text())
    assert sent["sha256"] == sha256_of(wav) and run.number == 1
    samples, _ = soundfile.read(wav, dtype="float32", always_2d=True)
    assert np.array_equal(archived(server.data, "P/1"), samples)
    inside(samples, emitted(31, stands_s=STANDS_S))


def asked_text(url):
    return urllib.request.urlopen(url, timeout=20).read().decode()


@pytest.mark.slow
def test_a_server_started_again_mid_spin_shows_the_whole_curve(tmp_path, rig):
    furnished(tmp_path / "data", 2)
    server = Server(tmp_path / "data", demo=False)
    agent = Program(rig, server.url, tmp_path / "spins")
    try:
        agent.until("On rig A")
        agent.type("P/2")
        until(lambda: spinning(server, "P/2"))
        first = asked_live(server, "P/2")
        server.kill()
        server.start()
        until(lambda: spinning(server, "P/2"))
        again = asked_live(server, "P/2")
        assert again["t"] > first["t"]
        assert {s for s, _ in first["curve"]} <= {s for s, _ in again["curve"]}
        agent.until("is run 1 of P/2", most_s=120)
    finally:
        agent.end()
        server.stop()
    assert len(runs(server.data, "P/2")) == 1


def asked_live(server, serial):
    """Return the first message with a curve of some points."""
    with connect(f"ws://127.0.0.1:{server.port}/bench/{serial}/live") as bench:
        while True:
            message = json.loads(bench.recv(timeout=60))
            assert "end" not in message
            if len(message.get("curve", ())) > 3:
                return message


class Heard(Line):
    """A server that takes what it is told, or does not: then `fault` is raised."""

    def __init__(self, fault=None):
        super().__init__("http://127.0.0.1:1")
        self.fault, self.heard, self.tried = fault, [], 0

    def stream(self, rig, said):
        self.tried += 1
        if self.fault:
            raise self.fault
        self.heard.append(json.loads(json.dumps(dict(said))))


def fed(line, monkeypatch, *, behind_s=0.0, meanwhile=lambda: None):
    """Feed a spin as fast as it goes, its blocks taken in their time; returns what was said on the terminal."""
    monkeypatch.setattr(live, "AGAIN_S", 0.01)
    monkeypatch.setattr(live, "REFUSED_S", 0.05)
    monkeypatch.setattr(live, "LAST_S", 0.5)
    words: list[str] = []
    spin = live.LiveSpin(
        line, Description(CHANNELS, 51_200.0, "clockwise", RIG), rig=RIG, agent="me", spin="one",
        serial="P/1", say=words.append,
    )  # fmt: skip
    spin.start()
    samples, size = emitted(31), round(BLOCK_S * 51_200)
    begun = time.monotonic() - len(samples) / 51_200 - behind_s
    for at in range(0, len(samples), size):
        data = samples[at : at + size]
        spin.took(LiveBlock(at, data, begun + (at + len(data)) / 51_200))
    meanwhile()
    spin.took(None)
    spin.join(60)
    assert not any(thread.is_alive() for thread in spin._threads)
    return words


def times(line):
    return [f["time_s"] for message in line.heard for f in message["figures"]]


def test_every_figure_is_told_once_and_the_end(monkeypatch):
    line = Heard()
    assert fed(line, monkeypatch) == []
    assert times(line) == sorted(set(times(line))) and len(times(line)) > 50
    assert [m["ended"] for m in line.heard].count(True) == 1 and line.heard[-1]["ended"]
    assert len(line.heard[-1]["curve"]) > 20 and len(line.heard[-1]["up"][0]) == 3


def test_a_line_that_comes_back_is_told_what_it_missed(monkeypatch):
    line = Heard(SourceLost("The line is down.", remedy=""))

    def back():
        until(lambda: line.tried > 5)
        line.fault = None

    assert (
        fed(line, monkeypatch, meanwhile=back) == []
    )  # the word to the server says that it is down
    assert times(line) == sorted(set(times(line))) and len(times(line)) > 50
    assert line.heard[-1]["ended"]


def test_a_key_that_is_wrong_or_revoked_is_said_and_the_spin_goes_on(monkeypatch):
    line = Heard(Refused("This key is not known.", remedy="Make another.", status=401))
    words = fed(line, monkeypatch, meanwhile=lambda: until(lambda: line.tried > 1))
    assert set(words) == {"The bench does not show this spin: This key is not known. Make another."}
    assert line.heard == []


def test_a_computer_that_is_too_slow_says_so_and_never_that_the_rotor_stands(monkeypatch):
    line = Heard()
    (words,) = fed(line, monkeypatch, behind_s=live.LAG_S + 10)
    assert "too slow" in words and "captured all the same" in words
    assert not any(message["ended"] for message in line.heard)
