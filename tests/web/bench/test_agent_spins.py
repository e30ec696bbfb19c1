"""A spin of a rig's agent over HTTP: shown at its piece's bench, who may say it, what nobody can do meanwhile."""

import time

import pytest
from fastapi.testclient import TestClient

from heavyspot.sim.cartridge import SIZES
from heavyspot.web.app import create_app
from heavyspot.workshop.demo.rigs import demo_model
from heavyspot.workshop.job.pieces import add_piece
from heavyspot.workshop.model.models import add_model
from heavyspot.workshop.rig.record import add_rig

FAR = "far rig"


@pytest.fixture
def client(tmp_path):
    app = create_app(tmp_path / "data")
    with TestClient(app, base_url="http://127.0.0.1") as made:
        shop = app.state.shop
        add_model(shop, demo_model(SIZES["Larch 52"]))
        for n in (1, 2):
            add_piece(shop, f"S-{n}", "Larch 52")
        add_rig(shop, FAR)
        made.post(f"/api/v1/agents/{FAR}", json={"typed": "S-1", "agent": "me"})
        yield made


def figures(time_s=1.0, **more):
    at = time.monotonic()
    values = {"speed_rpm": 61_000.0, "amplitude_g": 0.2, "angle_deg": 30.0, "trusted": 1.0} | more
    return {"time_s": time_s, "sampled_at_s": at, **values}


def say(client, *shown, rig=FAR, serial="S-1", agent="me", spin="one", **more):
    body = {
        "agent": agent, "spin": spin, "serial": serial, "said_at_s": time.monotonic(),
        "figures": list(shown), **more,
    }  # fmt: skip
    return client.post(f"/api/v1/agents/{rig}/spin", json=body)


def test_it_is_shown_at_the_piece_s_bench_and_nobody_can_stop_it_there(client):
    assert client.get("/api/v1/bench/S-1").json()["question"] == "prepare"
    assert say(client, figures(), curve=[[60_000.0, 0.19]]).status_code == 204
    state = client.get("/api/v1/bench/S-1").json()
    assert state["question"] == "spinning"
    page = client.get("/bench/S-1").text
    assert 'data-question="spinning"' in page and "shut the air at the rig" in page
    assert 'action="/bench/S-1/stop"' not in page
    (bench,) = client.get("/api/v1/benches").json()
    assert bench["spins"] == "S-1"
    stopped = client.post("/api/v1/bench/stop", params={"rig": FAR})
    assert stopped.status_code == 422 and "Shut the air" in stopped.text
    moved = client.post(f"/api/v1/benches/{FAR}/piece", json={"serial": "S-2"})
    assert moved.status_code == 422 and "spins on far rig" in moved.text
    assert client.get("/bench", follow_redirects=False).headers["location"] == "/bench/S-1"
    say(client, ended=True)
    assert client.get("/api/v1/bench/S-1").json()["question"] == "prepare"
    assert "1 spins wait at the rig" in client.get("/bench/S-1").text


def test_what_is_said_comes_to_the_socket(client):
    say(client, figures(), curve=[[60_000.0, 0.19], [61_000.0, 0.2]])
    with client.websocket_connect("ws://127.0.0.1/bench/S-1/live") as socket:
        first = socket.receive_json()
        assert (first["speed_rpm"], first["amplitude_g"]) == (61_000.0, 0.2)
        assert first["curve"] == [[60_000, 0.19], [61_000, 0.2]] and first["age_ms"] < 1000
        say(client, figures(1.1, speed_rpm=None, amplitude_g=None, angle_deg=None))
        while "t" not in (second := socket.receive_json()):
            pass
        assert second["speed_rpm"] is None
        say(client, ended=True)
        while "end" not in (last := socket.receive_json()):
            assert last == {"quiet": True} or last["t"] == 1.1


def test_old_figures_are_not_shown_to_who_comes_later(client):
    say(client, figures())
    time.sleep(1.2)
    with client.websocket_connect("ws://127.0.0.1/bench/S-1/live") as socket:
        assert socket.receive_json() == {"quiet": True}


def test_who_else_speaks_for_the_rig_is_refused(client):
    say(client, figures())
    other = say(client, figures(), agent="you", serial="S-2", spin="two")
    assert other.status_code == 422 and "Another agent" in other.json()["detail"]
    word = client.post(f"/api/v1/agents/{FAR}", json={"agent": "you"})
    assert word.status_code == 422 and "on_it" not in word.json()
    assert client.get("/api/v1/bench/S-1").json()["question"] == "spinning"


@pytest.mark.parametrize(
    "wrong",
    [
        {"serial": "S-99"},
        {"rig": "no such rig"},
        {"curve": [[1.0]]},
        {"figures": [{"time_s": 1.0}]},
        {"spin": ""},
    ],
)
def test_what_cannot_be_shown_is_refused_and_shown_nowhere(client, wrong):
    figures_, more = wrong.pop("figures", [figures()]), wrong
    assert say(client, *figures_, **more).status_code in (404, 422)
    assert client.get("/api/v1/bench/S-1").json()["question"] == "prepare"
