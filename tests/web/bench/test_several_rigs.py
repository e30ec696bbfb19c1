"""Several rigs over HTTP: each its address, a piece put on one, old addresses as ever."""

import time

import pytest
from capture.several.fake_digitiser import on_the_path, rig_text
from fastapi.testclient import TestClient

from heavyspot import BadInput, Workshop
from heavyspot.sim.cartridge import SIZES
from heavyspot.sources.sound_card import load_rig_file
from heavyspot.web.app import create_app
from heavyspot.workshop.demo.rigs import demo_model
from heavyspot.workshop.job.pieces import add_piece
from heavyspot.workshop.model.models import add_model
from heavyspot.workshop.rig.record import add_rig

A, B = "rig A", "rig/B: north & <south>"


@pytest.fixture(scope="module")
def rig_files(tmp_path_factory):
    folder = tmp_path_factory.mktemp("several")
    with pytest.MonkeyPatch.context() as patch:
        on_the_path(folder / "drivers", patch)
        found = []
        for seed, name in ((1, A), (2, B)):
            path = folder / f"{seed}.toml"
            path.write_text(rig_text(name, seed))
            found.append(load_rig_file(path))
        with Workshop(folder / "data") as shop:
            add_model(shop, demo_model(SIZES["Larch 52"]))
            for n in range(1, 7):
                add_piece(shop, f"H/{n}", "Larch 52")
        yield folder / "data", found


@pytest.fixture(scope="module")
def client(rig_files):
    data, rigs = rig_files
    with TestClient(create_app(data, rigs=rigs), base_url="http://127.0.0.1") as made:
        yield made


def on(client):
    return {b["rig"]: b["on_it"] for b in client.get("/api/v1/benches").json()}


def test_a_piece_on_no_rig_is_asked_where_it_is_and_put_there(client):
    said = client.get("/bench/H/1").text
    assert (
        "Which rig is it on?" in said and "On rig A" in said and "north &amp; &lt;south&gt;" in said
    )
    assert 'name="what"' not in said  # no yes is asked where no rig is
    assert on(client) == {A: "", B: ""}  # looking puts it nowhere
    panel = client.post("/bench/H/1/place", data={"rig": B}, headers={"hx-request": "true"})
    assert panel.status_code == 200 and "Which rig" not in panel.text
    assert on(client)[B] == "H/1"
    assert "Which rig" not in client.get("/bench/H/1").text


def test_each_rig_has_its_address(client):
    client.post(f"/api/v1/benches/{B}/piece", json={"serial": "H/1"})
    led = client.get("/at/rig%2FB: north %26 <south>", follow_redirects=False)
    assert (led.status_code, led.headers["location"]) == (303, "/bench/H/1")
    free = client.get(f"/at/{A}").text
    assert "Which piece is on it?" in free and 'value="rig A"' in free
    put = client.get("/find", params={"q": "H/2", "rig": A})
    assert str(put.url).endswith("/bench/H/2") and on(client) == {A: "H/2", B: "H/1"}
    assert client.get("/at/rig C").status_code == 404
    today = client.get("/").text
    assert 'href="/at/rig%20A"' in today or "Three steps" in today


def test_what_is_scanned_at_a_rig_goes_on_that_rig(client):
    client.post(f"/api/v1/benches/{A}/piece", json={"serial": "H/2"})
    asked = client.get("/bench/H/2/scanned", params={"text": "H/3"}).text
    assert "/find?q=H/3&amp;rig=rig%20A" in asked
    client.get("/bench/H/3", params={"rig": A})
    assert on(client)[A] == "H/3"
    assert "Which rig is it on?" in client.get("/bench/H/2").text


def test_today_lists_every_rig_and_what_is_on_each(client):
    client.post(f"/api/v1/benches/{A}/piece", json={"serial": "H/3"})
    today = client.get("/").text
    assert "Rig a" in today and "H/3" in today and "Not spun yet" in today


def test_a_wall_is_of_one_rig(client):
    client.post(f"/api/v1/benches/{A}/piece", json={"serial": "H/3"})
    asked = client.get("/wall").text
    assert "/wall?rig=rig%20A" in asked and "/wall?rig=rig/B" in asked
    shown = client.get("/wall", params={"rig": A}).text
    assert 'data-rig="rig A"' in shown and "H/3" in shown
    state = client.get("/api/bench/H/3", params={"rig": B}).json()
    assert state["on_it"] == on(client)[B]


@pytest.mark.slow
def test_two_spin_at_once_and_stop_asks_which(client):
    for rig, serial in ((A, "H/4"), (B, "H/5")):
        client.post(f"/api/v1/benches/{rig}/piece", json={"serial": serial})
    for serial in ("H/4", "H/5"):
        assert client.post(f"/api/bench/{serial}/spin", json={}).status_code == 202
    moved = client.post(f"/api/v1/benches/{B}/piece", json={"serial": "H/4"})
    assert moved.status_code == 422 and "one rig at a time" in moved.json()["detail"]
    assert client.post("/api/bench/stop").status_code == 422
    assert client.post("/api/bench/H/6/spin", json={}).status_code == 404
    spinning = [b["spins"] for b in client.get("/api/v1/benches").json()]
    assert spinning == ["H/4", "H/5"]
    assert client.get("/bench", follow_redirects=False).headers["location"] == "/"
    with (
        client.websocket_connect("ws://127.0.0.1/bench/H/4/live") as one,
        client.websocket_connect("ws://127.0.0.1/bench/H/5/live") as two,
    ):
        assert "end" not in one.receive_json() and "end" not in two.receive_json()
    assert client.post("/api/bench/stop", params={"rig": A}).status_code == 202
    until = time.monotonic() + 60
    while {client.get(f"/api/bench/{s}").json()["question"] for s in ("H/4", "H/5")} & {
        "spinning",
        "reading",
    }:
        assert time.monotonic() < until
        time.sleep(0.05)
    runs = client.get("/api/pieces/H/5").json()["runs"]
    assert len(runs) == 1


def test_one_rig_alone_is_as_ever(rig_files, tmp_path):
    _, (rig, _) = rig_files
    app = create_app(tmp_path / "data", rigs=[rig])
    with TestClient(app, base_url="http://127.0.0.1") as client:
        shop = app.state.shop
        add_model(shop, demo_model(SIZES["Larch 52"]))
        add_piece(shop, "S-1", "Larch 52")
        said = client.get("/bench/S-1").text
        assert "Which rig" not in said and on(client) == {A: "S-1"}
        assert client.get("/at/rig A", follow_redirects=False).headers["location"] == "/bench/S-1"
        assert client.get("/wall").status_code == 200


def test_rigs_are_refused_together_before_the_ledger_is_opened(rig_files, tmp_path):
    _, (rig, _) = rig_files
    with pytest.raises(BadInput, match="Two rig files are called"):
        create_app(tmp_path / "none", rigs=[rig, rig])
    assert not (tmp_path / "none").exists()


def test_a_rig_with_an_agent_is_a_rig_of_the_shop(tmp_path):
    data = tmp_path / "data"
    app = create_app(data)
    with TestClient(app, base_url="http://127.0.0.1") as client:
        shop = app.state.shop
        add_model(shop, demo_model(SIZES["Larch 52"]))
        for n in (1, 2):
            add_piece(shop, f"S-{n}", "Larch 52")
        assert client.post("/api/v1/agents/far rig", json={}).status_code == 404  # no such rig
        add_rig(shop, "far rig")
        told = client.post(
            "/api/v1/agents/far rig", json={"waiting": 2, "words": "no pulses", "typed": "S-1"}
        )
        assert told.status_code == 200
        assert (told.json()["on_it"], told.json()["refused"]) == ("S-1", "")
        wrong = client.post("/api/v1/agents/far rig", json={"typed": "S-99"}).json()
        assert wrong["on_it"] == "S-1" and "no piece" in wrong["refused"]
        client.post("/api/v1/agents/far rig", json={"waiting": 2, "words": "no pulses"})
        said = client.get("/bench/S-1").text
        for words in (
            "captured at the rig",
            "2 spins wait at the rig",
            "no pulses",
            "agent speaks",
        ):
            assert words in said
        assert 'name="what"' not in said and "NO RIG" not in said
        assert client.post("/api/bench/S-1/spin", json={}).status_code == 404
        client.post("/api/v1/agents/far rig", json={"spins": "S-1"})
        assert "Spinning" in client.get("/").text and "It spins" in client.get("/bench/S-1").text
        assert "Which rig is it on?" in client.get("/bench/S-2").text
        before = client.get("/api/bench/S-1").json()["stamp"]
        assert f'data-stamp="{before}"' in client.get("/bench/S-1").text
        app.state.benches.remotes["far rig"].heard_at_s -= 600
        assert client.get("/api/bench/S-1").json()["stamp"] != before  # an open page goes on
        assert "No word from the rig" in client.get("/bench/S-1").text
    with TestClient(create_app(data), base_url="http://127.0.0.1") as client:  # after a restart
        assert on(client) == {"far rig": "S-1"}
        assert "No word from the rig" in client.get("/bench/S-1").text
        assert client.delete("/api/v1/agents/far rig").status_code == 204
        assert on(client) == {"": ""}
        assert client.delete("/api/v1/agents/far rig").status_code == 404


def test_a_rig_of_this_computer_takes_no_agent(client):
    add_rig(client.app.state.shop, A)
    refused = client.post(f"/api/v1/agents/{A}", json={})
    assert refused.status_code == 422 and "this computer itself" in refused.json()["detail"]
