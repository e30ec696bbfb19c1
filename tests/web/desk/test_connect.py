"""A rig connected in the browser: what was typed becomes its file, the bench has it, the next start finds it."""

import pytest
from fastapi.testclient import TestClient

from heavyspot.quantities.errors import BadInput, UnreadableFile
from heavyspot.sources.sound_card import load_rig_file
from heavyspot.web.app import create_app
from heavyspot.web.views.rig.connect import clock_drawing, first_typed, rig_of

TYPED = first_typed(3) | {
    "source": "sound",
    "name": "High 1",
    "device": "4",
    "do": "keep",
    "clock-0": "2",
}


def client_of(data, **kw):
    return TestClient(create_app(data, **kw), base_url="http://127.0.0.1")


def test_what_was_typed_is_the_rig_s_file_and_stays(tmp_path):
    with client_of(tmp_path / "data") as client:
        assert not client.app.state.benches.first.connected
        answer = client.post("/connect", data=TYPED, follow_redirects=False)
        assert (
            answer.status_code == 303 and answer.headers["location"] == "/rigs/edit?name=High%201"
        ) or (answer.headers["location"] == "/rigs/edit?name=High 1")
        bench = client.app.state.benches.first
        assert bench.connected and bench.hands_free
        assert "High 1" in client.get("/rigs").text
    rig = load_rig_file(tmp_path / "data/rig.toml")
    assert (rig.name, rig.device, rig.sample_rate_hz, len(rig.channel)) == (
        "High 1",
        4,
        48_000.0,
        2,
    )
    sensor, pickup = rig.description().channels
    assert sensor.g_per_stored == pytest.approx(10.0 / 0.1)  # 10 V at full scale, 100 mV/g
    assert (sensor.clock, pickup.clock, pickup.quantity) == (2.0, 12.0, "phase")
    with client_of(tmp_path / "data") as client:  # the next start
        assert (
            client.app.state.benches.first.connected
            and client.app.state.benches.first.rig.name == "High 1"
        )
        assert "High 1" in client.get("/connect").text


def test_a_kept_file_that_is_broken_stops_the_start_with_its_name(tmp_path):
    (tmp_path / "rig.toml").write_text('name = "x"\nhowever = 3\n')
    with pytest.raises(UnreadableFile, match=r"rig\.toml"):
        create_app(tmp_path)


@pytest.mark.parametrize(
    ("change", "words"),
    [
        ({"role-0": "other"}, "No input is an accelerometer"),
        ({"role-1": "other"}, "No input is a pickup"),
        ({"value-0": ""}, "housing has no sensitivity"),
        ({"value-0": "much"}, "much"),
        ({"name": " "}, "name"),
        ({"rate": "0"}, "sample_rate_hz"),
        ({"clock-0": "13"}, "clock"),
    ],
)
def test_what_is_missing_is_said_and_nothing_is_connected(tmp_path, change, words):
    with client_of(tmp_path / "data") as client:
        answer = client.post("/connect", data=TYPED | change)
        assert answer.status_code == 422 and words in answer.text
        assert 'value="12"' in answer.text  # what was typed stays
        assert not client.app.state.benches.first.connected
        assert not (tmp_path / "data/rig.toml").exists()
    with pytest.raises(BadInput):
        rig_of(TYPED | change)


def test_a_practice_ledger_takes_no_real_rig_and_a_shop_no_simulated_one(tmp_path):
    with client_of(tmp_path / "demo", demo=True) as client:
        refused = client.post("/connect", data=TYPED)
        assert refused.status_code == 422 and "practice ledger" in refused.text
        assert client.app.state.benches.first.rig is None
    with client_of(tmp_path / "shop") as client:
        refused = client.post("/connect", data={"source": "simulated", "do": "keep"})
        assert refused.status_code == 422 and not client.app.state.benches.first.connected


def test_sensors_stand_at_their_hour_seen_from_the_nut():
    drawn = clock_drawing(TYPED | {"clock-0": "3", "clock-1": "9", "name-0": "<b>"})
    assert "&lt;b&gt;" in drawn and "<b>" not in drawn
    at = {
        role: float(drawn.split(f'<circle class="{role}" cx="')[1].split('"')[0])
        for role in ("acceleration", "phase")
    }
    assert at["acceleration"] > 240 and at["phase"] < 80  # 3 o'clock on the right, 9 on the left
    assert "acceleration" not in clock_drawing(TYPED | {"clock-0": "quarter past"})
