"""Runs as tables: JSON, pasted text, a file, and the page; each once, and nothing guessed."""

import io

from web.over_http import add

ROWS = "60000 0.12 35\n75000 0,20 50\n90000 0.31 80\n"
STATED = {"unit": "g", "measure": "peak"}


def runs(client, serial):
    return client.get(f"/api/v1/pieces/{serial}").json()["runs"]


def curve(client, serial, **body):
    return client.post(f"/api/v1/pieces/{serial}/curves", json=body)


def test_a_table_as_json_is_a_run_and_read_once(client):
    add(client, "CV-1")
    body = {
        "speed_rpm": [60_000, 75_000, 90_000], "sensors": [{"amplitude": [0.1, 0.2, 0.9]}],
        "operator": "Ines", **STATED,
    }  # fmt: skip
    done = curve(client, "CV-1", **body)
    assert done.status_code == 201
    assert done.json()["verdict"] == "fail"
    assert done.json()["curve"]["angle_deg"] == [None, None, None]
    again = curve(client, "CV-1", **body)
    assert again.status_code == 200 and again.json()["read_before"]
    assert len(runs(client, "CV-1")) == 1
    for look in ("passes", "curve.csv", "curve.svg"):  # what needs no samples is there
        assert client.get(f"/api/v1/runs/1/{look}/CV-1").status_code == 200, look
    for look in ("map", "moment", "recording.uff"):  # what needs them says so
        params = {"speed_rpm": 60_000}
        told = client.get(f"/api/v1/runs/1/{look}/CV-1", params=params)
        assert told.status_code == 404 and "is a table" in told.json()["detail"], look
    for page in ("/bench/CV-1", "/story/CV-1", "/runs/1/CV-1"):
        assert client.get(page).status_code in (200, 404), page
    assert client.get("/bench/CV-1").status_code == 200
    assert client.get("/story/CV-1").status_code == 200


def test_pasted_text_and_a_file_say_the_same(client):
    add(client, "CV-2")
    add(client, "CV-3")
    first = curve(client, "CV-2", text=ROWS, **STATED)
    files = {"table": ("rig.csv", io.BytesIO(ROWS.encode()))}
    second = client.post("/api/v1/pieces/CV-3/curves/file", files=files, data=STATED)
    assert first.status_code == second.status_code == 201
    assert first.json()["curve"] == second.json()["curve"]
    assert first.json()["curve"]["amplitude_g"] == [0.12, 0.2, 0.31]


def test_what_a_table_leaves_open_is_asked(client):
    add(client, "CV-4")
    for body, asked in (
        ({"text": ROWS, "measure": "peak"}, "unit"),
        ({"text": ROWS, "unit": "g"}, "zero to peak"),
        ({"speed_rpm": [1e5], "sensors": [{"amplitude": [0.1]}]}, "Unit and measure"),
        ({}, "no table"),
        ({"text": "hello", **STATED}, "no row of numbers"),
        ({"speed_rpm": [1e5, 1.1e5], "sensors": [{"amplitude": [0.1]}], **STATED}, "equally many"),
        ({"text": ROWS, **STATED, "recorded_at": "yesterday"}, "no time"),
    ):
        refused = curve(client, "CV-4", **body)
        assert refused.status_code == 422 and asked in refused.json()["detail"], body
    assert runs(client, "CV-4") == []
    assert curve(client, "none", text=ROWS, **STATED).status_code == 404


def test_a_table_typed_on_the_page_is_a_run_and_a_bad_one_stays_typed(client):
    add(client, "CV-5")
    page = client.get("/recordings/CV-5")
    assert 'action="/curves/CV-5"' in page.text
    data = {"operator": "Ines", "table": ROWS}
    refused = client.post("/curves/CV-5", data=data, follow_redirects=False)
    assert refused.status_code == 422
    assert "60000 0.12 35" in refused.text
    done = client.post("/curves/CV-5", data=data | STATED, follow_redirects=False)
    assert done.status_code == 303 and done.headers["location"] == "/bench/CV-5"
    (run,) = runs(client, "CV-5")
    assert run["by"] == "Ines" and run["recording"].endswith(".curve")
