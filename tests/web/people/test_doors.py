"""Who reaches a server without accounts, and what thousands of silent connections do to it."""

import contextlib
import json
import socket
import ssl
import threading
import time
import urllib.request

import pytest
from fastapi.testclient import TestClient
from starlette.websockets import WebSocketDisconnect

from heavyspot.quantities.errors import BadInput
from heavyspot.web import doors as doors_module
from heavyspot.web.app import create_app
from heavyspot.web.doors import FILES_KEPT, Doors, most_for
from heavyspot.web.serving import Address, server_of
from heavyspot.workshop.shop_key import CERTIFICATE, KEY, make_certificate


@pytest.fixture(scope="module")
def app(tmp_path_factory):
    made = create_app(tmp_path_factory.mktemp("doors") / "data", demo=True, pace=40.0)
    with TestClient(made, base_url="http://127.0.0.1"):
        yield made


@pytest.mark.parametrize(
    ("host", "status"),
    [("127.0.0.1", 200), ("localhost:8520", 200), ("[::1]:8520", 200), ("LOCALHOST", 200),
     ("testserver", 400), ("shop.example", 400), ("127.0.0.1.shop.example", 400), ("[::1].x", 400),
     ("", 400), ("10.1.2.3:8520", 400)],
)  # fmt: skip
def test_a_server_without_accounts_answers_to_its_own_names_only(app, host, status):
    client = TestClient(app, base_url="http://127.0.0.1")
    assert client.get("/users", headers={"Host": host}).status_code == status


@pytest.mark.parametrize(
    "header",
    [{"X-Forwarded-For": "203.0.113.7"}, {"Forwarded": "for=203.0.113.7"}, {"Via": "1.1 gate"},
     {"X-Real-IP": "203.0.113.7"}, {"X-Forwarded-Proto": "https"}],
)  # fmt: skip
def test_nobody_becomes_owner_through_a_proxy(app, header):
    client = TestClient(app, base_url="http://127.0.0.1")
    refused = client.post("/users", headers=header, data={"name": "Eve", "role": "owner"})
    assert refused.status_code == 400 and "--behind-proxy" in refused.text
    assert "frame-ancestors" in refused.headers["content-security-policy"]
    with (
        pytest.raises(WebSocketDisconnect),
        client.websocket_connect("ws://127.0.0.1/bench/X/live", headers=header),
    ):
        pass


@pytest.mark.parametrize(
    ("origin", "opens"),
    [("http://127.0.0.1", True), ("https://evil.example", False), ("null", False), ("", False)],
)
def test_another_sites_page_opens_no_websocket(app, origin, opens):
    """A page elsewhere may open one to this computer without asking: what the rig says is none of its business."""
    client = TestClient(app, base_url="http://127.0.0.1")
    to = "ws://127.0.0.1/bench/A-1/live"
    if opens:
        with client.websocket_connect(to, headers={"Origin": origin}) as socket:
            socket.close()
    else:
        with (
            pytest.raises(WebSocketDisconnect),
            client.websocket_connect(to, headers={"Origin": origin}),
        ):
            pass


def test_a_proxy_means_logins_and_is_named_by_its_address():
    assert Address(proxy="127.0.0.1").logins and not Address().logins
    with pytest.raises(BadInput, match="no address of a proxy"):
        server_of(who, Address(proxy="the gate"))


@contextlib.contextmanager
def running(app, doors=None, **address):
    with socket.socket() as s:
        s.bind(("127.0.0.1", 0))
        port = s.getsockname()[1]
    server = server_of(app, Address(port=port, **address), doors)
    server.config.lifespan = "off"
    thread = threading.Thread(target=server.run)
    thread.start()
    try:
        while not server.started:
            time.sleep(0.01)
        yield port
    finally:
        server.should_exit = True
        thread.join()


async def who(scope, receive, send):
    """Answer with who asks, by which scheme."""
    assert scope["type"] == "http"
    body = json.dumps([scope["client"][0], scope["scheme"]]).encode()
    await send({"type": "http.response.start", "status": 200, "headers": []})
    await send({"type": "http.response.body", "body": body})


def asked(port, headers):
    request = urllib.request.Request(f"http://127.0.0.1:{port}/", headers=headers)
    with urllib.request.urlopen(request, timeout=30) as answer:
        return json.loads(answer.read())


@pytest.mark.parametrize(
    ("proxy", "told"),
    [("", ["127.0.0.1", "http"]), ("127.0.0.1", ["203.0.113.7", "https"]),
     ("192.0.2.1", ["127.0.0.1", "http"])],
)  # fmt: skip
def test_a_forwarded_address_counts_only_from_the_proxy_that_was_named(proxy, told):
    with running(who, proxy=proxy) as port:
        sent = {"X-Forwarded-For": "203.0.113.7", "X-Forwarded-Proto": "https"}
        assert asked(port, sent) == told


def silent(port, n, said=b"", source="127.0.0.1"):
    made = []
    for _ in range(n):
        s = socket.create_connection(("127.0.0.1", port), 10, source_address=(source, 0))
        s.sendall(said)
        made.append(s)
    return made


@pytest.mark.parametrize("said", [b"", b"GET / HTTP/1.1\r\nHost: localhost\r\nX-Slow: "])
@pytest.mark.parametrize("source", ["127.0.0.1", "127.0.0.2"])
def test_silent_connections_keep_nobody_out(app, said, source):
    doors = Doors(most=40, most_of_one=20)
    with running(app, doors) as port:
        crowd = silent(port, 120, said, source)
        with urllib.request.urlopen(f"http://127.0.0.1:{port}/book", timeout=30) as page:
            assert page.status == 200
        assert len(doors) <= 21
        for s in crowd:
            s.close()


def test_silent_connections_go_by_themselves(app, monkeypatch):
    monkeypatch.setattr(doors_module, "HEAD_S", 0.3)
    monkeypatch.setattr(doors_module, "BODY_S", 0.3)
    monkeypatch.setattr(doors_module, "LOOK_EVERY_S", 0.1)
    doors = Doors()
    head = "POST /jobs HTTP/1.1\r\nHost: localhost\r\nContent-Type: application/json\r\n"
    body = f"{head}Content-Length: 90\r\n\r\n{{".encode()
    with running(app, doors) as port:
        crowd = silent(port, 30) + silent(port, 5, b"GET /") + silent(port, 5, body)
        until = time.monotonic() + 60
        while len(doors) and time.monotonic() < until:
            time.sleep(0.05)
        assert len(doors) == 0
        for s in crowd:
            s.close()


def test_who_is_being_answered_stays_and_newcomers_wait():
    """Where all of an address's connections are being answered, its newest goes."""
    started, go_on = threading.Semaphore(0), threading.Event()

    async def slow(scope, receive, send):
        import asyncio

        started.release()
        while not go_on.is_set():
            await asyncio.sleep(0.01)
        await who(scope, receive, send)

    with running(slow, Doors(most=10, most_of_one=3)) as port:
        answers: list[object] = []
        threads = [
            threading.Thread(target=lambda: answers.append(asked(port, {}))) for _ in range(3)
        ]
        for t in threads:
            t.start()
        for _ in threads:
            started.acquire()
        for s in silent(port, 5):
            s.settimeout(30)
            with contextlib.suppress(ConnectionResetError), s:
                assert s.recv(1) == b""
        go_on.set()
        for t in threads:
            t.join()
    assert len(answers) == 3


def test_files_stay_free_for_recordings():
    assert most_for(1024) == (1024 - FILES_KEPT) // 2 and most_for(16_384) == 1000
    assert most_for(100) == 16


def test_tls_that_is_not_agreed_on_ends(tmp_path, monkeypatch):
    monkeypatch.setattr("heavyspot.web.serving.HANDSHAKE_S", 0.5)
    make_certificate(tmp_path, "Shop")
    with running(who, certificate=tmp_path / CERTIFICATE, key=tmp_path / KEY) as port:
        (s,) = silent(port, 1)
        s.settimeout(30)
        with contextlib.suppress(ConnectionResetError):
            assert s.recv(1) == b""
        s.close()
        context = ssl.create_default_context()
        context.check_hostname, context.verify_mode = False, ssl.CERT_NONE
        with urllib.request.urlopen(f"https://127.0.0.1:{port}/", context=context) as answer:
            assert answer.status == 200
