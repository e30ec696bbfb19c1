"""The JSON face: pieces, jobs, rotors, papers, searches and what is refused."""

import io
import zipfile

import duckdb
import pytest
from python_calamine import load_workbook
from web.over_http import add, wait


def test_refusals(client):
    add(client, "H-4")
    assert client.get("/api/v1/pieces/none").status_code == 404
    assert client.get("/bench/none").status_code == 404
    assert client.get("/api/v1/models/none").status_code == 404
    assert client.get("/api/v1/rigs/none").status_code == 404
    twice = client.post("/api/v1/pieces", json={"serial": "H-4", "model": "Larch 52"})
    assert twice.status_code == 409 and "there already" in twice.json()["detail"]
    for body in (
        {"plane": "nut", "angle_deg": 10},
        {"plane": "wing", "angle_deg": 10, "depth_mm": 0.1},
        {"plane": "nut", "angle_deg": 10, "depth_mm": 0.1, "colour": "red"},
        {"plane": "nut", "angle_deg": "ten", "depth_mm": 0.1},
    ):
        assert client.post("/api/v1/pieces/H-4/cuts", json=body).status_code == 422
    raw = client.post(
        "/api/v1/pieces/H-4/cuts",
        content='{"plane": "nut", "angle_deg": NaN, "depth_mm": 0.1}',
        headers={"content-type": "application/json"},
    )
    assert raw.status_code == 422
    assert client.get("/api/v1/pieces/H-4").json()["cuts_made"] == []


def test_openapi_lists_everything(client):
    paths = client.get("/api/v1/openapi.json").json()["paths"]
    assert "/api/v1/pieces/{serial}/cuts" in paths and "/api/v1/bench/{serial}/spin" in paths


def test_job_amend_and_drawings(client):
    made = client.post(
        "/api/v1/jobs",
        json={"customer": "Fjord Haulage", "pieces": [
            {"serial": "J-1", "model": "Larch 52", "position": "front"},
            {"serial": "J-2", "model": "Larch 52", "position": "rear"},
        ]},
    )  # fmt: skip
    job = made.json()["job"]
    heard = client.post("/api/v1/bench/J-1/listen").json()
    assert [h["good"] for h in heard] == [True, True, None]
    client.post("/api/v1/bench/J-1/spin", json={})
    wait(client, "J-1")
    page = client.get(f"/jobs/{job}").text
    curves = page.split("<main")[1].replace('<svg class="mark"', "").count("<svg")
    assert curves == 1 and "J-2" in page and "not spun" in page
    svg = client.get("/api/v1/runs/1/curve.svg/J-1")
    assert svg.headers["content-type"].startswith("image/svg") and "polyline" in svg.text
    change = {"changes": {"invoice": "99"}, "why": "was missing"}
    assert client.patch(f"/api/v1/jobs/{job}", json=change).status_code == 200
    assert client.get(f"/api/v1/jobs/{job}").json()["invoice"] == "99"
    assert client.get("/api/v1/jobs/none").status_code == 404
    assert client.get(f"/labels.pdf?job={job}").content.startswith(b"%PDF")


def test_rotors_over_json(client):
    kinds = client.get("/api/v1/rotor-kinds").json()
    assert "Blower 900" in kinds
    content = client.get("/api/v1/rotor-kinds/Blower 900").json()
    assert client.post("/api/v1/rotor-kinds", json={"content": content}).json() == {
        "rotor": "Blower 900"
    }
    assert (
        client.post("/api/v1/rotor-kinds", json={"content": {"kind": "rotor"}}).status_code == 422
    )
    made = client.post("/api/v1/rotors", json={"serial": "J-R1", "rotor": "Blower 900"})
    assert made.status_code == 201
    reading = {
        "amounts": [21000, 9000],
        "angles_deg": [77, 200],
        "rig": "simulated low-speed machine",
    }
    told = client.post("/api/v1/rotors/J-R1/readings", json=reading).json()
    assert told["verdict"] == "fail" and told["advice"]["corrections"]
    done = client.post("/api/v1/rotors/J-R1/corrections", json={})
    assert done.status_code == 201 and len(done.json()) == len(told["advice"]["corrections"])
    assert len(client.get("/api/v1/rotors/J-R1").json()["runs"]) == 1
    assert client.post("/api/v1/rotors/J-R1/sheets", json={}).status_code == 201
    assert client.get("/api/v1/rotors/J-R1/sheet.pdf").content.startswith(b"%PDF")
    bad = client.post("/api/v1/rotors/J-R1/readings", json={"amounts": [1], "angles_deg": [1]})
    assert bad.status_code == 422 and "planes" in bad.json()["detail"]
    assert client.get("/api/v1/rotors/nobody").status_code == 404
    proof = client.post(
        "/api/v1/machines/simulated low-speed machine/proofs", json={"planes": {"left": [10] * 12}}
    )
    assert proof.status_code == 201 and proof.json()["passed"]
    assert client.get("/api/v1/machines/simulated low-speed machine/proofs").json()["overdue"] == []
    parts = {"kinds": {"wheel": [["C1", 0.5, 10]], "nut": [["N1", 0.2, 30]]}}
    matched = client.post("/api/v1/matchings", json=parts).json()
    assert matched["total_gmm"] == pytest.approx(0.3)
    assert (
        client.get(f"/api/v1/matchings/{matched['id']}").json()["assemblies"]
        == matched["assemblies"]
    )
    assert client.get("/api/v1/matchings/nothing").status_code == 404


def test_build_record_and_story_over_json(client):
    content = client.get("/api/v1/models/Larch 52").json()
    content |= {"name": "Larch 53", "clearance_mm": {"end_play": [0.05, 0.09]}}
    assert client.post("/api/v1/models", json={"content": content}).status_code == 201
    assert (
        client.post("/api/v1/pieces", json={"serial": "J-B", "model": "Larch 53"}).status_code
        == 201
    )
    assert client.get("/api/v1/bench/J-B").json()["question"] == "build"
    refused = client.post("/api/v1/bench/J-B/spin", json={})
    assert refused.status_code == 422 and "build record" in refused.json()["detail"]
    told = client.post(
        "/api/v1/pieces/J-B/build", json={"measured_mm": {"end_play": 0.12}, "gauge": "G"}
    )
    assert told.json()["state"] == "out"
    assert client.post("/api/v1/pieces/J-B/sign", json={"why": "as asked"}).json() == {
        "state": "signed"
    }
    assert client.get("/api/v1/bench/J-B").json()["question"] == "prepare"
    came = client.post("/api/v1/pieces/J-B/happenings", json={"kind": "returned", "text": "howls"})
    assert came.status_code == 201
    kinds = [e["kind"] for e in client.get("/api/v1/pieces/J-B/happenings").json()]
    assert kinds == ["written", "build", "signed", "returned"]
    assert (
        client.post("/api/v1/pieces/J-B/happenings", json={"kind": "run", "text": "x"}).status_code
        == 422
    )


def test_search_over_json_and_tables(client, tmp_path):
    client.post(
        "/api/v1/pieces",
        json={"serial": "=S-77", "model": "Larch 52", "customer": "Gull Marine", "invoice": "9"},
    )
    found = client.get("/api/v1/search", params={"q": "gull mar"}).json()
    assert found["exact"] and [r["serial"] for r in found["rows"]] == ["=S-77"]
    assert not client.get("/api/v1/search", params={"q": "gull marnie"}).json()["exact"]
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
    assert client.get("/api/v1/search", params={"q": "x" * 301}).status_code == 422


def test_a_job_may_hold_a_rotor(client):
    rotor = {"serial": "J-R9", "rotor": "Blower 900", "customer": "Tidal Works", "invoice": "99"}
    client.post("/api/v1/rotors", json=rotor)
    client.post(
        "/api/v1/pieces",
        json={"serial": "J-P9", "model": "Larch 52", "customer": "Tidal Works", "invoice": "99"},
    )
    client.post(
        "/api/v1/rotors/J-R9/readings", json={"amounts": [21000, 9000], "angles_deg": [77, 200]}
    )
    job = client.get("/api/v1/search", params={"q": "J-R9"}).json()["rows"][0]["job_id"]
    page = client.get(f"/jobs/{job}")
    assert page.status_code == 200
    assert "/rotor/J-R9/sheet" in page.text and "/bench/J-P9" in page.text
    for path in ("/pieces/J-R9", "/story/J-R9", "/rotor/J-R9", "/jobs", "/"):
        assert client.get(path).status_code == 200, path
    assert client.get(f"/jobs/{job}/sheets.zip").status_code == 404  # none was issued yet
    archive = client.post(f"/jobs/{job}/sheets")
    with zipfile.ZipFile(io.BytesIO(archive.content)) as sheets:  # the measured one only
        (name,) = sheets.namelist()
        assert name.startswith("sheet-") and sheets.read(name).startswith(b"%PDF")
    other = client.patch(
        "/api/v1/pieces/J-P9", json={"changes": {"model": "Blower 900"}, "why": "x"}
    )
    assert other.status_code == 422 and "kind of piece" in other.json()["detail"]


def test_papers_and_parts_over_http(client):
    client.post("/api/v1/pieces", json={"serial": "PP-1", "model": "Larch 52"})
    png = b"\x89PNG\r\n\x1a\n" + b"x" * 50
    kept = client.post(
        "/api/v1/pieces/PP-1/papers", files={"file": ("a.png", png)}, data={"text": "the nick"}
    )
    assert kept.status_code == 201 and kept.json()["bytes"] == len(png)
    client.post("/papers/PP-1", files={"file": ("b.html", b"<script>alert(1)</script>")})
    one, two = client.get("/api/v1/pieces/PP-1/papers").json()
    shown = client.get(f"/papers/{one['id']}/PP-1")
    assert shown.headers["content-type"] == "image/png" and shown.content == png
    saved = client.get(f"/papers/{two['id']}/PP-1")
    assert saved.headers["content-disposition"].startswith("attachment")  # never run in our pages
    assert saved.headers["content-type"] == "application/octet-stream"
    assert client.get(f"/papers/{one['id']}/PP-2").status_code == 404
    assert "No file was chosen" in client.post("/papers/PP-1", data={"text": "x"}).text
    body = {"parts": [{"part": "wheel", "supplier": "Gull", "lot": "7"}]}
    assert client.post("/api/v1/pieces/PP-1/parts", json=body).status_code == 201
    form = {"part-0": "", "supplier-0": "Gull", "lot-0": "8"}
    wrong = client.post("/parts/PP-1", data=form)
    assert wrong.status_code == 422 and "has no name" in wrong.text and 'value="Gull"' in wrong.text
    assert "wheel Gull lot 7" in client.get("/story/PP-1").text
