"""The HTTP face without a browser: states, refusals, headers."""

import io
import time
import zipfile
from typing import Any

import duckdb
import pytest
from fastapi.testclient import TestClient
from python_calamine import load_workbook

from heavyspot.web.app import create_app
from heavyspot.workshop.cartridge.story import cartridge_story
from heavyspot.workshop.shop import find_piece


@pytest.fixture(scope="module")
def client(tmp_path_factory):
    app = create_app(tmp_path_factory.mktemp("api") / "data", demo=True, pace=40.0)
    with TestClient(app, base_url="http://127.0.0.1") as made:
        yield made


def add(client, serial):
    done = client.post("/api/pieces", json={"serial": serial, "model": "Larch 52"})
    assert done.status_code == 201


def wait(client, serial):
    for _ in range(200):
        question = client.get(f"/api/bench/{serial}").json()["question"]
        if question not in ("spinning", "reading"):
            return question
        time.sleep(0.05)
    raise AssertionError("the spin did not end")


def test_spin_grind_spin(client):
    add(client, "H-1")
    assert client.get("/api/bench/H-1").json()["question"] == "prepare"
    assert client.post("/api/bench/H-1/spin", json={"operator": "Ines"}).status_code == 202
    assert wait(client, "H-1") == "grind"
    story = client.get("/api/pieces/H-1").json()
    assert story["runs"][0]["by"] == "Ines"
    cut = story["runs"][0]["advice"]["cuts"][0]
    done = client.post(
        "/api/pieces/H-1/cuts",
        json={"plane": cut["plane"], "angle_deg": cut["angle_deg"], "depth_mm": cut["depth_mm"]},
    )
    assert done.status_code == 201 and done.json()["left_mg"] > 0
    assert client.get("/api/bench/H-1").json()["question"] == "prepare"
    view = client.get("/api/pieces/H-1/curves").json()
    assert len(view["speed_rpm"]) == len(view["runs"][0]["amplitude_g"]) == len(view["limit_g"])


def test_live_curve_is_the_recorded_curve(client):
    """The same run fed live and read from its recording gives the same curve."""
    import numpy as np

    from heavyspot import open_recording, read_recording

    add(client, "H-2")
    bench = client.app.state.bench
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
    client.app.state.bench.spin("H-3")
    with client.websocket_connect("/bench/H-3/live") as socket:
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
    client.post("/api/bench/H-7/spin", json={})
    wait(client, "H-7")
    story = client.get("/api/pieces/H-7").json()
    passes = client.get("/api/runs/1/passes/H-7").json()["passes"]
    assert {p["direction"] for p in passes} == {"up", "down"}
    assert max(passes[0]["amplitude_g"]) == pytest.approx(
        story["runs"][0]["worst"]["amplitude_g"], rel=0.05
    )
    answer = client.get("/api/runs/1/map/H-7")
    rows, columns = int(answer.headers["x-rows"]), int(answer.headers["x-columns"])
    levels = np.frombuffer(answer.content, np.uint8).reshape(rows, columns)
    speeds = [float(v) if v else np.nan for v in answer.headers["x-speed-hz"].split(",")]
    top = float(answer.headers["x-highest-hz"])
    k = int(np.nanargmax(speeds))  # at top speed the brightest line is the turning frequency
    assert levels[k].argmax() / columns * top == pytest.approx(speeds[k], rel=0.03)
    m = client.get("/api/runs/1/moment/H-7?speed_rpm=100000").json()
    assert m["speed_rpm"] == pytest.approx(100_000, abs=600)
    line = m["frequency_hz"][int(np.argmax(m["spectrum_g"]))]
    assert line == pytest.approx(m["turning_hz"], rel=0.02)
    lines = client.get("/api/runs/1/curve.csv/H-7").text.splitlines()
    assert lines[0].startswith("direction,speed [rpm]") and len(lines) > 300
    assert client.get("/api/runs/1/recording.uff/H-7").content[:12].strip().startswith(b"-1")
    assert client.get("/api/runs/9/passes/H-7").status_code == 404
    assert client.get("/look/9/H-7").status_code == 404


def test_models_page_keeps_what_was_typed(client):
    text = (
        'name = "Elm 1"\nrotation = "clockwise"\nrated_speed_rpm = 90000\ntest_speed_rpm = 99000\n'
    )
    text += '[[plane]]\nname = "nut"\nradius_mm = 7.0\n'
    wrong = client.post("/models/text", data={"text": text})
    assert wrong.status_code == 422
    assert "above rated_speed_rpm" in wrong.text and "Elm 1" in wrong.text
    right = client.post("/models/text", data={"text": text.replace("99000", "80000")})
    assert right.status_code == 200 and "Elm 1" in client.get("/api/models").text
    assert client.post("/models/text", data={"text": "name = "}).status_code == 422


def test_pieces_of_a_job_see_each_other(client):
    for serial, position in (("T-1", "front"), ("T-2", "rear")):
        client.post(
            "/api/pieces",
            json={"serial": serial, "model": "Larch 52", "customer": "Nine Mills Farm",
                  "invoice": "26-77", "position": position},
        )  # fmt: skip
    assert "rear: T-2" in client.get("/bench/T-1").text
    assert "front: T-1" in client.get("/bench/T-2").text


def test_label_and_oil(client):
    add(client, "H-8")
    assert client.get("/bench/H-8/label.pdf?size=36x89").content.startswith(b"%PDF")
    assert client.get("/bench/H-8/label.pdf?size=huge").status_code == 422
    wrong = client.post("/bench/H-8/spin", data={"oil_temperature_c": "warm"})
    assert wrong.status_code == 422 and "not a number" in wrong.text
    client.post("/bench/H-8/spin", data={"oil_temperature_c": "68,5", "oil_pressure_kpa": "310"})
    wait(client, "H-8")
    shop = client.app.state.shop
    run = shop.book.cartridges.runs(find_piece(shop, "H-8").id)[0]
    assert run.conditions["recording"]["oil"] == {"temperature_c": 68.5, "pressure_kpa": 310.0}
    assert run.result["pickup"][0] == pytest.approx(2.0, rel=0.05)


def test_refusals(client):
    add(client, "H-4")
    assert client.get("/api/pieces/none").status_code == 404
    assert client.get("/bench/none").status_code == 404
    assert client.get("/api/models/none").status_code == 404
    assert client.get("/api/rigs/none").status_code == 404
    twice = client.post("/api/pieces", json={"serial": "H-4", "model": "Larch 52"})
    assert twice.status_code == 409 and "there already" in twice.json()["error"]
    for body in (
        {"plane": "nut", "angle_deg": 10},
        {"plane": "wing", "angle_deg": 10, "depth_mm": 0.1},
        {"plane": "nut", "angle_deg": 10, "depth_mm": 0.1, "colour": "red"},
        {"plane": "nut", "angle_deg": "ten", "depth_mm": 0.1},
    ):
        assert client.post("/api/pieces/H-4/cuts", json=body).status_code == 422
    raw = client.post(
        "/api/pieces/H-4/cuts",
        content='{"plane": "nut", "angle_deg": NaN, "depth_mm": 0.1}',
        headers={"content-type": "application/json"},
    )
    assert raw.status_code == 422
    assert client.get("/api/pieces/H-4").json()["cuts_made"] == []


def test_other_sites_cannot_ask_for_changes(client):
    done = client.post("/pieces", data={"serial": "X"}, headers={"origin": "http://evil.example"})
    assert done.status_code == 403
    assert client.get("/", headers={"host": "evil.example"}).status_code == 400


def test_secure_headers_and_no_inline_script(client):
    page = client.get("/")
    policy = page.headers["content-security-policy"]
    assert "default-src 'self'" in policy and "unsafe" not in policy
    assert "<script>" not in page.text and " onclick" not in page.text and "style=" not in page.text


def test_markup_in_names_stays_text(client):
    add(client, "<b>x</b>/2")
    page = client.get("/bench/%3Cb%3Ex%3C%2Fb%3E%2F2")
    assert page.status_code == 200
    for text in (page.text, client.get("/").text):
        assert "<b>x</b>/2" not in text and "&lt;b&gt;x" in text


def test_openapi_lists_everything(client):
    paths = client.get("/api/openapi.json").json()["paths"]
    assert "/api/pieces/{serial}/cuts" in paths and "/api/bench/{serial}/spin" in paths


def test_model_form_says_each_fault_at_its_field(client):
    form = {
        "name": "Elm 2", "rotation": "clockwise", "rated_speed_rpm": "0", "test_speed_rpm": "fast",
        "plane-0-name": "nut", "plane-0-radius_mm": "-1", "plane-0-allowed_deg": "20-160, 200-340",
    }  # fmt: skip
    wrong = client.post("/models", data=form)
    assert wrong.status_code == 422
    for field in ("rated_speed_rpm", "test_speed_rpm", "plane-0-radius_mm"):
        assert f'id="fault-{field}"' in wrong.text
    assert 'value="fast"' in wrong.text
    form |= {"rated_speed_rpm": "90000", "test_speed_rpm": "80000", "plane-0-radius_mm": "7,5"}
    assert client.post("/models", data=form, follow_redirects=False).status_code == 303
    made = client.get("/api/models/Elm 2").json()
    assert made["plane"][0]["radius_mm"] == 7.5
    assert made["plane"][0]["allowed_deg"] == [[20, 160], [200, 340]]
    again = client.get("/models/edit?name=Elm 2").text
    assert 'value="20-160, 200-340"' in again
    form |= {"known": "Elm 2", "test_speed_rpm": "85000", "limit-house": "0.4"}
    client.post("/models", data=form)
    assert client.get("/api/models/Elm 2").json()["limit"] == [{"name": "house", "limit_g": 0.4}]


def test_rig_form(client):
    wrong = client.post("/rigs", data={"due": "soon", "sensors-0-sensitivity": "ten"})
    assert wrong.status_code == 422
    for field in ("name", "due", "sensors-0-sensitivity", "sensors-0-name"):
        assert f'id="fault-{field}"' in wrong.text
    good = {"name": "north rig", "kind": "high-speed rig", "due": "2020-01-01"}
    assert client.post("/rigs", data=good, follow_redirects=False).status_code == 303
    assert "calibration was due 2020-01-01" in client.get("/rigs").text


def test_job_amend_and_drawings(client):
    made = client.post(
        "/api/jobs",
        json={"customer": "Fjord Haulage", "pieces": [
            {"serial": "J-1", "model": "Larch 52", "position": "front"},
            {"serial": "J-2", "model": "Larch 52", "position": "rear"},
        ]},
    )  # fmt: skip
    job = made.json()["job"]
    heard = client.post("/api/bench/J-1/listen").json()
    assert [h["good"] for h in heard] == [True, None]
    client.post("/api/bench/J-1/spin", json={})
    wait(client, "J-1")
    page = client.get(f"/jobs/{job}").text
    assert page.count("<svg") == 1 and "J-2" in page and "not spun" in page
    svg = client.get("/api/runs/1/curve.svg/J-1")
    assert svg.headers["content-type"].startswith("image/svg") and "polyline" in svg.text
    change = {"changes": {"invoice": "99"}, "why": "was missing"}
    assert client.patch(f"/api/jobs/{job}", json=change).status_code == 200
    assert client.get(f"/api/jobs/{job}").json()["invoice"] == "99"
    assert client.get("/api/jobs/none").status_code == 404
    assert client.get(f"/labels.pdf?job={job}").content.startswith(b"%PDF")


def test_rotors_over_json(client):
    kinds = client.get("/api/rotor-kinds").json()
    assert "Blower 900" in kinds
    content = client.get("/api/rotor-kinds/Blower 900").json()
    assert client.post("/api/rotor-kinds", json={"content": content}).json() == {
        "rotor": "Blower 900"
    }
    assert client.post("/api/rotor-kinds", json={"content": {"kind": "rotor"}}).status_code == 422
    made = client.post("/api/rotors", json={"serial": "J-R1", "rotor": "Blower 900"})
    assert made.status_code == 201
    reading = {
        "amounts": [21000, 9000],
        "angles_deg": [77, 200],
        "rig": "simulated low-speed machine",
    }
    told = client.post("/api/rotors/J-R1/readings", json=reading).json()
    assert told["verdict"] == "fail" and told["advice"]["corrections"]
    done = client.post("/api/rotors/J-R1/corrections", json={})
    assert done.status_code == 201 and len(done.json()) == len(told["advice"]["corrections"])
    assert len(client.get("/api/rotors/J-R1").json()["runs"]) == 1
    assert client.get("/api/rotors/J-R1/sheet.pdf").content.startswith(b"%PDF")
    bad = client.post("/api/rotors/J-R1/readings", json={"amounts": [1], "angles_deg": [1]})
    assert bad.status_code == 422 and "planes" in bad.json()["error"]
    assert client.get("/api/rotors/nobody").status_code == 404
    proof = client.post(
        "/api/machines/simulated low-speed machine/proofs", json={"planes": {"left": [10] * 12}}
    )
    assert proof.status_code == 201 and proof.json()["passed"]
    assert client.get("/api/machines/simulated low-speed machine/proofs").json()["overdue"] == []
    parts = {"kinds": {"wheel": [["C1", 0.5, 10]], "nut": [["N1", 0.2, 30]]}}
    matched = client.post("/api/matchings", json=parts).json()
    assert matched["total_gmm"] == pytest.approx(0.3)
    assert (
        client.get(f"/api/matchings/{matched['id']}").json()["assemblies"] == matched["assemblies"]
    )
    assert client.get("/api/matchings/nothing").status_code == 404


def test_build_record_and_story_over_json(client):
    content = client.get("/api/models/Larch 52").json()
    content |= {"name": "Larch 53", "clearance_mm": {"end_play": [0.05, 0.09]}}
    assert client.post("/api/models", json={"content": content}).status_code == 201
    assert (
        client.post("/api/pieces", json={"serial": "J-B", "model": "Larch 53"}).status_code == 201
    )
    assert client.get("/api/bench/J-B").json()["question"] == "build"
    refused = client.post("/api/bench/J-B/spin", json={})
    assert refused.status_code == 422 and "build record" in refused.json()["error"]
    told = client.post(
        "/api/pieces/J-B/build", json={"measured_mm": {"end_play": 0.12}, "gauge": "G"}
    )
    assert told.json()["state"] == "out"
    assert client.post("/api/pieces/J-B/sign", json={"why": "as asked"}).json() == {
        "state": "signed"
    }
    assert client.get("/api/bench/J-B").json()["question"] == "prepare"
    came = client.post("/api/pieces/J-B/happenings", json={"kind": "returned", "text": "howls"})
    assert came.status_code == 201
    kinds = [e["kind"] for e in client.get("/api/pieces/J-B/happenings").json()]
    assert kinds == ["written", "build", "signed", "returned"]
    assert (
        client.post("/api/pieces/J-B/happenings", json={"kind": "run", "text": "x"}).status_code
        == 422
    )


def test_search_over_json_and_tables(client, tmp_path):
    client.post(
        "/api/pieces",
        json={"serial": "=S-77", "model": "Larch 52", "customer": "Gull Marine", "invoice": "9"},
    )
    found = client.get("/api/search", params={"q": "gull mar"}).json()
    assert found["exact"] and [r["serial"] for r in found["rows"]] == ["=S-77"]
    assert not client.get("/api/search", params={"q": "gull marnie"}).json()["exact"]
    table = client.get("/search.csv", params={"q": "gull"})
    assert table.headers["content-type"].startswith("text/csv")
    assert "'=S-77" in table.text and "\n=S-77" not in table.text  # no formula for a spreadsheet
    workbook = client.get("/search.xlsx", params={"q": "gull"}).content
    rows = load_workbook(io.BytesIO(workbook)).get_sheet_by_index(0).to_python()
    assert rows[0][0] == "serial" and rows[1][0] == "=S-77" and rows[1][3] == "Gull Marine"
    with zipfile.ZipFile(io.BytesIO(workbook)) as archive:
        assert b"<f>" not in archive.read("xl/worksheets/sheet1.xml")
    (tmp_path / "t.parquet").write_bytes(
        client.get("/search.parquet", params={"q": "gull"}).content
    )
    typed = duckdb.read_parquet(str(tmp_path / "t.parquet"))
    assert dict(zip(typed.columns, map(str, typed.types), strict=True))["day"] == "DATE"
    assert typed.fetchall()[0][0] == "=S-77" and typed.fetchall()[0][6] is None
    assert "Gull Marine" in client.get("/find", params={"q": "gull"}).text
    assert "did you mean" in client.get("/find", params={"q": "gull marnie"}).text
    assert client.get("/find", params={"q": "=S-77"}, follow_redirects=False).status_code == 303
    assert client.get("/api/search", params={"q": "x" * 301}).status_code == 422


def test_a_body_too_large_is_refused(client):
    answer = client.post("/api/matchings", content=b"x" * 5_000_000)
    assert answer.status_code == 413 and "too large" in answer.json()["error"]
    odd = client.post("/api/matchings", content=b"{}", headers={"content-length": "-1"})
    assert odd.status_code == 413


def test_script_in_a_name_stays_text(client):
    name = "<script>alert(1)</script>{{ 7 * 7 }}"
    made = client.post(
        "/api/pieces", json={"serial": "X<1>", "model": "Larch 52", "customer": name}
    )
    assert made.status_code == 201
    for path in ("/", "/story/X<1>", "/bench/X<1>", "/find?q=alert", "/jobs"):
        text = client.get(path).text
        assert "<script>alert" not in text and "49" not in text.split("{{ 7")[0][-3:]
        assert "&lt;script&gt;" in text or path == "/find?q=alert"


def test_a_job_may_hold_a_rotor(client):
    rotor = {"serial": "J-R9", "rotor": "Blower 900", "customer": "Gull Marine", "invoice": "99"}
    client.post("/api/rotors", json=rotor)
    client.post(
        "/api/pieces",
        json={"serial": "J-P9", "model": "Larch 52", "customer": "Gull Marine", "invoice": "99"},
    )
    client.post(
        "/api/rotors/J-R9/readings", json={"amounts": [21000, 9000], "angles_deg": [77, 200]}
    )
    job = client.get("/api/search", params={"q": "J-R9"}).json()["rows"][0]["job_id"]
    page = client.get(f"/jobs/{job}")
    assert page.status_code == 200
    assert "/rotor/J-R9/sheet.pdf" in page.text and "/bench/J-P9" in page.text
    for path in ("/pieces/J-R9", "/story/J-R9", "/rotor/J-R9", "/jobs", "/"):
        assert client.get(path).status_code == 200, path
    archive = client.get(f"/jobs/{job}/sheets.zip")
    with zipfile.ZipFile(io.BytesIO(archive.content)) as sheets:  # the measured one only
        (name,) = sheets.namelist()
        assert name.startswith("sheet-") and sheets.read(name).startswith(b"%PDF")
    other = client.patch("/api/pieces/J-P9", json={"changes": {"model": "Blower 900"}, "why": "x"})
    assert other.status_code == 422 and "kind of piece" in other.json()["error"]


def test_papers_and_parts_over_http(client):
    client.post("/api/pieces", json={"serial": "PP-1", "model": "Larch 52"})
    png = b"\x89PNG\r\n\x1a\n" + b"x" * 50
    kept = client.post(
        "/api/pieces/PP-1/papers", files={"file": ("a.png", png)}, data={"text": "the nick"}
    )
    assert kept.status_code == 201 and kept.json()["bytes"] == len(png)
    client.post("/papers/PP-1", files={"file": ("b.html", b"<script>alert(1)</script>")})
    one, two = client.get("/api/pieces/PP-1/papers").json()
    shown = client.get(f"/papers/{one['id']}/PP-1")
    assert shown.headers["content-type"] == "image/png" and shown.content == png
    saved = client.get(f"/papers/{two['id']}/PP-1")
    assert saved.headers["content-disposition"].startswith("attachment")  # never run in our pages
    assert saved.headers["content-type"] == "application/octet-stream"
    assert client.get(f"/papers/{one['id']}/PP-2").status_code == 404
    assert "No file was chosen" in client.post("/papers/PP-1", data={"text": "x"}).text
    body = {"parts": [{"part": "wheel", "supplier": "Gull", "lot": "7"}]}
    assert client.post("/api/pieces/PP-1/parts", json=body).status_code == 201
    form = {"part-0": "", "supplier-0": "Gull", "lot-0": "8"}
    wrong = client.post("/parts/PP-1", data=form)
    assert wrong.status_code == 422 and "has no name" in wrong.text and 'value="Gull"' in wrong.text
    assert "wheel Gull lot 7" in client.get("/story/PP-1").text
