"""Who runs it is told whether it is well, how much it does, and what happened in which request; no secret."""

import json
import logging
import re
import subprocess
import sys

import pytest
from fastapi.testclient import TestClient
from prometheus_client.parser import text_string_to_metric_families
from sqlalchemy.exc import OperationalError

from heavyspot.quantities.errors import BadInput, LedgerAway
from heavyspot.web.app import create_app
from heavyspot.web.operation.log import AsJson, log, log_to, say

PASSWORD = "warm oil, cold hands"


@pytest.fixture
def app(tmp_path):
    made = create_app(tmp_path / "data", demo=True)
    with TestClient(made, base_url="http://127.0.0.1"):
        yield made


@pytest.fixture
def client(app):
    return TestClient(app, base_url="http://127.0.0.1", raise_server_exceptions=False)


@pytest.fixture
def lines(tmp_path):
    before = log.handlers[:], log.level, log.propagate
    log_to(str(tmp_path / "log.jsonl"))
    yield lambda: [json.loads(x) for x in (tmp_path / "log.jsonl").read_text().splitlines()]
    for handler in log.handlers:
        handler.close()
    log.handlers[:], log.level, log.propagate = before


def away(*_):
    raise LedgerAway("The ledger cannot be read (disk I/O error).", remedy="")


def test_alive_and_ready(client, app, monkeypatch):
    assert client.get("/health").json() == {"status": "alive"}
    told = client.get("/ready")
    assert told.status_code == 200 and told.json()["ready"] and told.json()["ledger"] == "there"
    monkeypatch.setattr(app.state.shop.book, "head", away)
    told = client.get("/ready")
    assert told.status_code == 503 and told.json()["ledger"] == "away"
    assert client.get("/health").status_code == 200
    assert "heavyspot_ledger_up 0.0" in client.get("/metrics").text


def test_figures_are_read_by_a_monitors_own_parser(client):
    for _ in range(3):
        client.get("/api/v1/models")
    client.get("/api/v1/pieces/Secret-Serial-1")
    client.request("BREW", "/api/v1/models")
    text = client.get("/metrics").text
    families = {f.name: f for f in text_string_to_metric_families(text)}
    counted = {
        (s.labels["route"], s.labels["status"]): s.value
        for s in families["heavyspot_requests"].samples
        if s.name.endswith("_total")
    }
    assert (
        counted["/api/v1/models", "200"] == 3
        and counted["/api/v1/pieces/{serial:path}", "404"] == 1
    )
    assert families["heavyspot_ledger_entries"].samples[0].value > 0
    assert "Secret-Serial" not in text and "BREW" not in text
    assert families["heavyspot_disk_free_bytes"].samples[0].value > 0


def test_without_a_login_only_health_is_told(tmp_path):
    first = create_app(tmp_path / "data", demo=True)
    first.state.people.set_user("Ona", "owner", PASSWORD)
    first.state.shop.close()
    made = create_app(tmp_path / "data", accounts=True)
    with TestClient(made, base_url="http://10.1.2.3", follow_redirects=False) as client:
        assert client.get("/health").status_code == client.get("/ready").status_code == 200
        assert client.get("/metrics").status_code in (303, 401)
        key = made.state.people.make_key_of("Ona", "the monitor", "metrics", 9)
        got = client.get("/metrics", headers={"Authorization": f"Bearer {key}"})
        assert got.status_code == 200 and "heavyspot_requests" in got.text


def test_each_request_has_an_id_and_a_line(client, lines):
    given = client.get("/api/v1/models", headers={"X-Request-Id": "from-a-proxy-1"})
    assert given.headers["x-request-id"] == "from-a-proxy-1"
    for odd in ("short", "x" * 65, 'a"b{c}d-e', "line\tbreak1"):
        made = client.get("/api/v1/models", headers={"X-Request-Id": odd}).headers["x-request-id"]
        assert re.fullmatch("[0-9a-f]{32}", made)
    first = lines()[0]
    assert (first["event"], first["route"], first["status"], first["request"]) == (
        "request", "/api/v1/models", 200, "from-a-proxy-1",
    )  # fmt: skip
    assert first["ms"] >= 0 and first["method"] == "GET" and first["at"].endswith("Z")


def test_no_secret_gets_into_the_log(app, client, lines):
    people = app.state.people
    people.set_user("Ona", "owner", PASSWORD)
    key = people.make_key_of("Ona", "x", "read", 9)
    app.state.accounts_needed = True
    client.post("/login", data={"name": "Ona", "password": PASSWORD})
    client.post("/login", data={"name": "Ona", "password": "my other password"})
    token = client.cookies["heavyspot"]
    client.get("/find?q=Customer+Name")
    client.get("/api/v1/models", headers={"Authorization": f"Bearer {key}"})
    client.get("/api/v1/exchange", headers={"X-Station-Key": "station-secret"})
    client.get("/verify/2026-00001?d=digest-of-a-sheet")
    text = json.dumps(lines())
    for secret in (
        PASSWORD,
        "my other password",
        token,
        key,
        "station-secret",
        "Customer",
        "digest-of",
    ):
        assert secret not in text
    # the first login leads on to a page
    assert [x["status"] for x in lines()] == [303, 200, 422, 200, 200, 401, 404]
    assert lines()[5]["level"] == "warning"


def test_a_fault_of_ours_is_told_with_its_id_alone(app, client, lines, monkeypatch):
    def broken(*_):
        raise OperationalError("select secret", {"who": "Ona"}, RuntimeError("secret words"))

    monkeypatch.setattr(app.state.shop.book, "head", broken)
    answer = client.get("/ready")
    assert answer.status_code == 500 and answer.headers["x-request-id"] in answer.json()["remedy"]
    assert "secret" not in answer.text
    fault = next(x for x in lines() if x["event"] == "fault")
    assert (
        fault["fault"] == "OperationalError" and fault["request"] == answer.headers["x-request-id"]
    )
    assert "secret" not in json.dumps(lines()) and any("routes.py" in t for t in fault["trace"])


def test_the_log_is_its_owners_alone_and_a_wrong_place_is_said(tmp_path, lines):
    say("start", port=8520)
    assert lines()[0]["event"] == "start" and lines()[0]["port"] == 8520
    if sys.platform != "win32":
        assert (tmp_path / "log.jsonl").stat().st_mode & 0o077 == 0
    with pytest.raises(BadInput, match="cannot be written"):
        log_to(str(tmp_path / "no" / "folder" / "log"))
    odd = logging.LogRecord("x", 20, "x", 1, 'a "line"\nbreak', (), None)
    assert "\n" not in AsJson().format(odd)


def test_a_start_does_not_load_what_only_work_needs():
    """Start time hangs on what is loaded: the heavy parts wait until they are used."""
    heavy = (
        "scipy.signal",
        "scipy.stats",
        "duckdb",
        "pyhanko",
        "typst",
        "clarabel",
        "nptdms",
        "h5py",
        "pyuff",
    )
    code = f"import sys, heavyspot.web.serving; print([m for m in {heavy!r} if m in sys.modules])"
    done = subprocess.run([sys.executable, "-c", code], capture_output=True, text=True, check=True)
    assert done.stdout.strip() == "[]"
