"""Web hooks over HTTP and on the command line: an owner's matter; the secret once, each delivery's fate seen."""

import json

import pytest
from cli.test_contract import Shell
from fastapi.testclient import TestClient
from web.contract.held import HeldClient
from web.over_http import add, wait
from workshop.hooks.receiver import receiver, until

from heavyspot.web.app import create_app


@pytest.fixture
def app(tmp_path):
    return create_app(tmp_path / "data", demo=True, pace=200.0)


@pytest.fixture
def client(app):
    with HeldClient(app, base_url="http://127.0.0.1") as made:
        yield made


def test_a_spin_at_the_bench_is_told_and_its_delivery_seen(client):
    with receiver() as told:
        hook = client.post("/api/v1/hooks", json={"url": told.url, "events": ["verdict"]}).json()
        assert hook["secret"].startswith("whsec_")
        assert "secret" not in client.get("/api/v1/hooks").json()[0]
        assert hook["secret"] not in client.get("/api/v1/hooks").text
        test = client.post(f"/api/v1/hooks/{hook['id']}/test")
        assert test.status_code == 202
        add(client, "HK-1")
        client.post("/api/v1/bench/HK-1/spin", json={"operator": "Ines"})
        wait(client, "HK-1")
        until(lambda: len(told.came) == 2, 15)
        seen = client.get(f"/api/v1/hooks/{hook['id']}/deliveries")
        until(
            lambda: (
                client.get(f"/api/v1/hooks/{hook['id']}/deliveries").json()[0]["state"]
                == "delivered"
            )
        )
        assert {d["id"] for d in seen.json()} == set(told.ids())
        assert told.bodies()[1]["data"]["serial"] == "HK-1"
        again = client.post(f"/api/v1/hooks/{hook['id']}/deliveries/{told.ids()[1]}/again")
        assert again.status_code == 202
        until(lambda: len(told.came) == 3, 15)
        assert told.ids()[2] == told.ids()[1] and told.came[2][1] == told.came[1][1]
    assert client.delete(f"/api/v1/hooks/{hook['id']}").json() == {"ended": hook["id"]}
    assert client.get("/api/v1/hooks").json() == []
    assert client.get(f"/api/v1/hooks/{hook['id']}/deliveries").status_code == 404


@pytest.mark.parametrize(
    "url",
    [
        "https://10.0.0.7/",
        "http://169.254.169.254/latest",
        "http://example.org/",
        "ftp://x/",
        "https://[::]/",
    ],
)
def test_where_a_hook_may_not_go(client, url):
    answer = client.post("/api/v1/hooks", json={"url": url})
    assert answer.status_code == 422 and answer.json()["code"] == "bad-input"


def test_a_secret_is_in_no_kept_answer(client, app):
    """What is sent again under a key would give the secret a second time, and keep it in the ledger."""
    with receiver() as told:
        head = {"Idempotency-Key": "hook-once"}
        first = client.post("/api/v1/hooks", json={"url": told.url}, headers=head)
        again = client.post("/api/v1/hooks", json={"url": told.url}, headers=head)
        assert first.status_code == 201 and again.status_code == 409
        stored = b"".join(p.read_bytes() for p in app.state.shop.folder.glob("ledger.sqlite*"))
        assert first.json()["secret"].encode() not in stored


def test_only_an_owner_and_no_key(tmp_path):
    app = create_app(tmp_path / "data", demo=True)
    app.state.accounts_needed = True
    for name, role in (("Ona", "owner"), ("Ivo", "inspector")):
        app.state.people.set_user(name, role, "warm oil, cold hands")
    with TestClient(app, base_url="http://127.0.0.1") as client:
        for name in ("Ona", "Ivo"):
            key = app.state.people.make_key_of(name, "x", "write", 9)
            head = {"Authorization": f"Bearer {key}"}
            assert client.get("/api/v1/hooks", headers=head).status_code == 403
            assert (
                client.post(
                    "/api/v1/hooks", json={"url": "https://example.org"}, headers=head
                ).status_code
                == 403
            )
        assert client.get("/api/v1/hooks").status_code == 401


def test_on_the_command_line(tmp_path):
    shell = Shell(tmp_path)
    with receiver() as told:
        made = json.loads(shell.run("hook", "add", told.url, "--event", "verdict", "--json").stdout)
        listed = shell.run("hook", "list").stdout
        assert told.url in listed and made["secret"] not in listed
        assert "msg_test_" in shell.run("hook", "test", made["id"]).stdout
        assert "waits" in shell.run("hook", "deliveries", made["id"]).stdout
        (delivery,) = json.loads(shell.run("hook", "deliveries", made["id"], "--json").stdout)
        assert "anew" in shell.run("hook", "again", made["id"], delivery["id"]).stdout
        assert "whsec_" in shell.run("hook", "secret", made["id"]).stdout
        shell.run("hook", "end", made["id"])
        shell.run("hook", "end", made["id"], code=3)
        assert json.loads(shell.run("hook", "list", "--json").stdout) == []
        shell.run("hook", "add", "http://10.0.0.1/x", code=2)
