"""A recording handed in through the browser is read once, as the command line reads it, and harms nothing."""

import io
import shutil

import numpy as np
import pytest
from web.over_http import add
from workshop.cartridge.test_spin import QUICK

from heavyspot.sim.cartridge import make_cartridge
from heavyspot.sources.simulated import simulated_recording
from heavyspot.sources.writers import write_recording


@pytest.fixture(scope="module")
def recorded(tmp_path_factory):
    path = tmp_path_factory.mktemp("brought") / "run.uff"
    write_recording(simulated_recording(make_cartridge("Larch 52", 3, peak_g=1.2), 5, QUICK), path)
    return path.read_bytes(), path.with_suffix(".json").read_bytes()


def hand_in(client, serial, name, content, beside=b"", **more):
    files = {"recording": (name, io.BytesIO(content))}
    if beside:
        files["sidecar"] = ("what.json", io.BytesIO(beside))
    return client.post(
        f"/recordings/{serial}",
        files=files,
        data={"operator": "Ines", **more},
        follow_redirects=False,
    )


def runs(client, serial):
    return client.get(f"/api/v1/pieces/{serial}").json()["runs"]


def left_over(client):
    folder = client.app.state.shop.folder / "capture" / "received"
    return [p for p in folder.rglob("recording*") if p.is_file()]


def test_a_recording_that_is_handed_in_is_a_run(client, recorded):
    add(client, "R-1")
    done = hand_in(client, "R-1", "../../evil.uff", *recorded)
    assert done.status_code == 303 and done.headers["location"] == "/bench/R-1"
    assert (
        hand_in(client, "R-1", "bare.uff", recorded[0]).status_code == 422
    )  # nobody says what it is
    (run,) = runs(client, "R-1")
    assert run["by"] == "Ines" and run["verdict"] == "fail"
    assert left_over(client) == []
    assert not list(client.app.state.shop.folder.parent.rglob("evil*"))


def test_pressed_twice_it_is_one_run(client, recorded):
    add(client, "R-2")
    assert hand_in(client, "R-2", "a.uff", *recorded).status_code == 303
    again = hand_in(client, "R-2", "b.uff", *recorded)
    assert again.status_code == 422 and "as run 1 of R-2" in again.text
    assert len(runs(client, "R-2")) == 1
    add(client, "R-3")
    assert (
        hand_in(client, "R-3", "a.uff", *recorded).status_code == 303
    )  # another piece: asked of nobody


@pytest.mark.parametrize(
    ("name", "content"), [("x.exe", b"MZ"), ("run.wav", b"no wave"), ("run.uff", b""), ("", b"x")]
)
def test_what_cannot_be_read_changes_nothing_and_says_so(client, name, content):
    if client.get("/api/v1/pieces/R-4").status_code == 404:
        add(client, "R-4")
    said = hand_in(client, "R-4", name, content)
    assert said.status_code == 422
    assert runs(client, "R-4") == [] and left_over(client) == []


def test_what_a_power_cut_left_is_no_hindrance(client, recorded, monkeypatch):
    from heavyspot.workshop.cartridge import received

    add(client, "R-5")
    monkeypatch.setattr(received, "spin", lambda *a, **k: (_ for _ in ()).throw(SystemExit))
    monkeypatch.setattr(shutil, "rmtree", lambda *a, **k: None)
    shop = client.app.state.shop
    with pytest.raises(SystemExit):
        received.spin_received(shop, "R-5", "a.uff", *map(io.BytesIO, recorded))
    assert left_over(client)
    monkeypatch.undo()
    assert received.spin_received(shop, "R-5", "a.uff", *map(io.BytesIO, recorded)).number == 1
    assert left_over(client) == []


def test_what_a_file_leaves_open_is_answered_on_the_page(client, tmp_path):
    add(client, "R-9")
    spun = simulated_recording(make_cartridge("Larch 52", 3, peak_g=1.2), 6, QUICK)
    data = np.concatenate([b.data for b in spun.blocks()])
    rows = np.column_stack([100 * data[:, 0], 10 * data[:, 1]])
    np.savetxt(tmp_path / "a.csv", rows, "%.6g", ",", header="housing [g],pickup [V]", comments="")
    content = (tmp_path / "a.csv").read_bytes()
    asked = hand_in(client, "R-9", "a.csv", content)
    assert asked.status_code == 422 and "states no sample rate" in asked.text
    assert '<details class="block" open>' in asked.text  # where the answer is typed
    assert hand_in(client, "R-9", "a.csv", content, rate="fast").status_code == 422
    assert hand_in(client, "R-9", "a.csv", content, rate="51200").status_code == 303
    (run,) = runs(client, "R-9")
    assert run["verdict"] == "fail"
