"""Whatever answers on the line, the exchange goes on, says what it saw, and since when nothing arrived."""

import http.client
import socket
import threading
import time

import pytest
from fastapi.testclient import TestClient
from workshop.station.two_houses import spun

from heavyspot.quantities.errors import HeavyspotError, SourceLost
from heavyspot.web.app import create_app
from heavyspot.workshop.keep import errands as errands_module
from heavyspot.workshop.keep.errands import Errands
from heavyspot.workshop.station.line import HttpLine
from heavyspot.workshop.station.station import exchange

PAGES = {
    "a log-in page": b"HTTP/1.1 200 OK\r\nContent-Type: text/html\r\n\r\n<html>Wi-Fi: accept our terms</html>",
    "a cut answer": b'HTTP/1.1 200 OK\r\nContent-Length: 5000\r\n\r\n{"store": "x',
    "a cut refusal": b"HTTP/1.1 422 No\r\nContent-Length: 5000\r\n\r\n{",
    "garbage": bytes(range(256)) * 8,
    "no header's end": b"HTTP/1.1 200 OK\r\nX: " + b"y" * 70_000,
    "nothing": b"",
    "a list": b"HTTP/1.1 200 OK\r\n\r\n[1, 2]",
    "endless brackets": b"HTTP/1.1 200 OK\r\n\r\n" + b"[" * 100_000,
    "a number": b"HTTP/1.1 200 OK\r\n\r\n5",
    "a refusal that is a list": b"HTTP/1.1 500 No\r\n\r\n[]",
    "another house": b'HTTP/1.1 200 OK\r\n\r\n{"store": 5, "name": [], "now": {}, "certificate": null}',
    "no clock": b'HTTP/1.1 200 OK\r\n\r\n{"store": "x", "name": "y", "now": "soon", "certificate": "z"}',
}


class Answering:
    """A network that answers everything with the same bytes."""

    def __init__(self, content):
        self.socket = socket.create_server(("127.0.0.1", 0))
        self.content = content
        threading.Thread(target=self._run, daemon=True).start()

    def _run(self):
        while True:
            try:
                there, _ = self.socket.accept()
            except OSError:
                return
            with there:
                there.settimeout(2)
                try:
                    there.recv(65_536)
                    there.sendall(self.content)
                except OSError:
                    continue

    @property
    def line(self):
        return HttpLine(f"http://127.0.0.1:{self.socket.getsockname()[1]}", "x")


@pytest.mark.parametrize("name", PAGES)
def test_each_is_said_in_words(houses, name):
    network = Answering(PAGES[name])
    try:
        with pytest.raises(HeavyspotError) as told:
            exchange(houses.east, network.line)
    finally:
        network.socket.close()
    assert told.value.message


class Garbled:
    """A line that fails in a way of its own each time."""

    def __init__(self, faults):
        self.faults = list(faults)

    def send(self, *_, **__):
        raise self.faults.pop(0) if len(self.faults) > 1 else self.faults[0]


def test_the_rounds_go_on_and_say_since_when_nothing_arrived(houses, monkeypatch):
    spun(houses.east, "E-0", 1)
    line = Garbled(
        [
            KeyError("store"),
            http.client.IncompleteRead(b"x"),
            RecursionError("deep"),
            ZeroDivisionError(),
        ]
    )
    monkeypatch.setattr(errands_module, "line_of", lambda _: line)
    monkeypatch.setattr(errands_module, "now_utc", lambda: "2026-01-01T10:00:00.000Z")
    errands = Errands(houses.east, every_s=0.02)
    errands.start()
    until(lambda: len(line.faults) == 1)
    until(lambda: "ZeroDivisionError" in errands.fault)
    assert "Nothing has arrived since 2026-01-01 10:00 UTC" in errands.words()
    monkeypatch.setattr(errands_module, "line_of", lambda _: houses.line)
    until(lambda: not errands.fault)  # the line is back, with no restart
    errands.stop()
    assert errands.words() == "" and houses.main.book.jobs.piece("E-0") is not None


def test_the_page_shows_it(houses):
    app = create_app(houses.folder / "east")
    app.state.errands.fault = "The line is down."
    page = TestClient(app, base_url="http://127.0.0.1").get("/buildings").text
    assert "The line is down." in page and "Nothing has arrived since" in page
    app.state.shop.close()


def until(done):
    end = time.monotonic() + 20
    while not done():
        assert time.monotonic() < end
        time.sleep(0.02)


def test_a_line_that_is_down_is_said(houses):
    with pytest.raises(SourceLost, match="down"):
        exchange(houses.east, HttpLine("http://127.0.0.1:9", "x"))
