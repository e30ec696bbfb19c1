"""The bench over HTTP: a spin from the call to its curve, live and looked at closer."""

from typing import Any

import pytest
from web.over_http import add, wait

from heavyspot.workshop.cartridge.story import cartridge_story
from heavyspot.workshop.shop import find_piece


def test_spin_grind_spin(client):
    add(client, "H-1")
    assert client.get("/api/v1/bench/H-1").json()["question"] == "prepare"
    assert client.post("/api/v1/bench/H-1/spin", json={"operator": "Ines"}).status_code == 202
    assert wait(client, "H-1") == "grind"
    story = client.get("/api/v1/pieces/H-1").json()
    assert story["runs"][0]["by"] == "Ines"
    cut = story["runs"][0]["advice"]["cuts"][0]
    done = client.post(
        "/api/v1/pieces/H-1/cuts",
        json={"plane": cut["plane"], "angle_deg": cut["angle_deg"], "depth_mm": cut["depth_mm"]},
    )
    assert done.status_code == 201 and done.json()["left_mg"] > 0
    assert client.get("/api/v1/bench/H-1").json()["question"] == "prepare"
    view = client.get("/api/v1/pieces/H-1/curves").json()
    assert len(view["speed_rpm"]) == len(view["runs"][0]["amplitude_g"]) == len(view["limit_g"])


def test_live_curve_is_the_recorded_curve(client):
    """The same run fed live and read from its recording gives the same curve."""
    import numpy as np

    from heavyspot import open_recording, read_recording

    add(client, "H-2")
    bench = client.app.state.benches.first
    capture = bench.spin("H-2")
    wait(client, "H-2")
    live = capture.snapshot.curve
    shop = client.app.state.shop
    kept = open_recording(
        shop.book.archive.open(cartridge_story(shop, "H-2").runs[0].entry.recording)
    )
    recorded = read_recording(kept).curves[0]
    same = np.interp(live[0], recorded.speed_rpm, np.abs(recorded.vector[0]))
    inner = (live[0] > 20_000) & (live[0] < live[0].max() - 3_000)
    assert inner.sum() > 100
    assert np.abs(live[1] - same)[inner].max() < 0.01 * same.max()


def test_websocket_sends_snapshots_and_an_end(client):
    add(client, "H-3")
    client.app.state.benches.first.spin("H-3")
    with client.websocket_connect("ws://127.0.0.1/bench/H-3/live") as socket:
        messages: list[dict[str, Any]] = []
        while not messages or "end" not in messages[-1]:
            messages.append(socket.receive_json())
    numbers = [m for m in messages if "t" in m]
    assert len(numbers) >= 2  # forty times real time: on a busy machine there are few
    assert {
        "speed_rpm",
        "amplitude_g",
        "angle_deg",
        "overall_g",
        "pickup",
        "lost",
        "age_ms",
    } <= set(numbers[0])
    assert all(m["lost"] == 0 for m in numbers)


def test_look_closer(client):
    import numpy as np

    add(client, "H-7")
    client.post("/api/v1/bench/H-7/spin", json={})
    wait(client, "H-7")
    story = client.get("/api/v1/pieces/H-7").json()
    passes = client.get("/api/v1/runs/1/passes/H-7").json()["passes"]
    assert {p["direction"] for p in passes} == {"up", "down"}
    assert max(passes[0]["amplitude_g"]) == pytest.approx(
        story["runs"][0]["worst"]["amplitude_g"], rel=0.05
    )
    answer = client.get("/api/v1/runs/1/map/H-7")
    rows, columns = int(answer.headers["x-rows"]), int(answer.headers["x-columns"])
    levels = np.frombuffer(answer.content, np.uint8).reshape(rows, columns)
    speeds = [float(v) if v else np.nan for v in answer.headers["x-speed-hz"].split(",")]
    top = float(answer.headers["x-highest-hz"])
    k = int(np.nanargmax(speeds))  # at top speed the brightest line is the turning frequency
    assert levels[k].argmax() / columns * top == pytest.approx(speeds[k], rel=0.03)
    m = client.get("/api/v1/runs/1/moment/H-7?speed_rpm=100000").json()
    assert m["speed_rpm"] == pytest.approx(100_000, abs=600)
    line = m["frequency_hz"][int(np.argmax(m["spectrum_g"]))]
    assert line == pytest.approx(m["turning_hz"], rel=0.02)
    lines = client.get("/api/v1/runs/1/curve.csv/H-7").text.splitlines()
    assert lines[0].startswith("sensor,direction,speed [rpm]") and len(lines) > 300
    assert client.get("/api/v1/runs/1/recording.uff/H-7").content[:12].strip().startswith(b"-1")
    assert client.get("/api/v1/runs/9/passes/H-7").status_code == 404
    assert client.get("/look/9/H-7").status_code == 404


def test_label_and_oil(client):
    add(client, "H-8")
    assert client.get("/bench/H-8/label.pdf?size=36x89").content.startswith(b"%PDF")
    assert client.get("/bench/H-8/label.pdf?size=huge").status_code == 422
    wrong = client.post("/bench/H-8/spin", data={"oil_temperature_c": "warm"})
    assert wrong.status_code == 422 and "not a number" in wrong.text
    early = client.post("/bench/H-8/spin", data={"oil_temperature_c": "68"})
    assert early.status_code == 422 and "not said" in early.text
    for what in ("guard", "oil"):
        assert client.post("/bench/H-8/yes", data={"what": what}).status_code == 200
    hot = client.post("/bench/H-8/spin", data={"oil_temperature_c": "900"})
    assert hot.status_code == 422 and "can only be" in hot.text
    client.post("/bench/H-8/spin", data={"oil_temperature_c": "68,5", "oil_pressure_kpa": "310"})
    wait(client, "H-8")
    shop = client.app.state.shop
    run = shop.book.cartridges.runs(find_piece(shop, "H-8").id)[0]
    assert run.conditions["recording"]["oil"] == {"temperature_c": 68.5, "pressure_kpa": 310.0}
    assert run.result["pickup"][0] == pytest.approx(2.0, rel=0.05)
