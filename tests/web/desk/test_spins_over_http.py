"""Recordings by HTTP: whole, in parts that go on where they stopped, and through a watched folder."""

import asyncio
import io
import json
from concurrent.futures import ThreadPoolExecutor

import pytest
from fastapi.testclient import TestClient
from web.over_http import add
from workshop.cartridge.test_spin import QUICK

from heavyspot.sim.cartridge import make_cartridge
from heavyspot.sources.simulated import simulated_recording
from heavyspot.sources.sound_card import RigFile
from heavyspot.sources.writers import write_recording
from heavyspot.web.app import create_app
from heavyspot.workshop.incoming.uploads import Uploads

PART = {"content-type": "application/partial-upload"}


@pytest.fixture(scope="module")
def recorded(tmp_path_factory):
    path = tmp_path_factory.mktemp("recorded") / "run.flac"
    write_recording(simulated_recording(make_cartridge("Larch 52", 3, peak_g=1.2), 5, QUICK), path)
    return path.read_bytes(), path.with_suffix(".json").read_bytes()


def runs(client, serial):
    return client.get(f"/api/v1/pieces/{serial}").json()["runs"]


def whole(client, serial, content, beside=b"", key="", **more):
    files = {"recording": ("run.flac", io.BytesIO(content))}
    if beside:
        files["sidecar"] = ("run.json", io.BytesIO(beside))
    headers = {"Idempotency-Key": key} if key else {}
    return client.post(f"/api/v1/pieces/{serial}/spins", files=files, data=more, headers=headers)


def form(recorded):
    """A whole form as bytes, and its content type (RFC 7578)."""
    parts = []
    for name, file, content in (
        ("recording", "run.flac", recorded[0]),
        ("sidecar", "run.json", recorded[1]),
    ):
        head = f'--edge\r\nContent-Disposition: form-data; name="{name}"; filename="{file}"\r\n\r\n'
        parts.append(head.encode() + content + b"\r\n")
    return b"".join(parts) + b"--edge--\r\n", "multipart/form-data; boundary=edge"


def test_a_whole_job_over_http_with_files(client, recorded):
    add(client, "H-1")
    done = whole(client, "H-1", *recorded, operator="Ines")
    assert done.status_code == 201
    said = done.json()
    assert said["number"] == 1 and said["verdict"] == "fail" and said["advice"]["action"] == "cut"
    (run,) = runs(client, "H-1")
    assert run["by"] == "Ines"
    (cut,) = said["advice"]["cuts"]
    made = client.post(
        "/api/v1/pieces/H-1/cuts",
        json={"plane": cut["plane"], "angle_deg": cut["angle_deg"], "depth_mm": cut["depth_mm"]},
    )
    assert made.status_code == 201
    sheet = client.post("/api/v1/pieces/H-1/sheets", json={})
    assert sheet.status_code == 201


def test_the_same_file_again_is_the_same_run(client, recorded):
    add(client, "H-2")
    assert whole(client, "H-2", *recorded).status_code == 201
    again = whole(client, "H-2", *recorded)
    assert again.status_code == 200
    assert again.json()["read_before"] is True and again.json()["number"] == 1
    assert len(runs(client, "H-2")) == 1


def test_a_retry_under_a_key_gets_the_first_answer_though_its_boundary_is_another(client, recorded):
    flac, beside = recorded
    add(client, "H-3")
    first = whole(client, "H-3", flac, beside, key="one-try")
    again = whole(client, "H-3", flac, beside, key="one-try")
    assert (first.status_code, again.status_code) == (201, 201)
    assert again.headers["idempotency-replayed"] == "true" and again.json() == first.json()
    assert whole(client, "H-3", flac + b"x", beside, key="one-try").status_code == 422


@pytest.mark.parametrize(
    ("content", "more", "status"),
    [(b"no sound", {}, 422), (b"", {}, 422), (None, {"rate": "-1"}, 422), (None, {"time_unit": "fortnight"}, 422)],
)  # fmt: skip
def test_what_cannot_be_read_is_said_and_nothing_is_kept(client, recorded, content, more, status):
    if client.get("/api/v1/pieces/H-4").status_code == 404:
        add(client, "H-4")
    said = whole(client, "H-4", recorded[0] if content is None else content, recorded[1], **more)
    assert said.status_code == status and said.json()["detail"]
    assert runs(client, "H-4") == []
    assert whole(client, "H-no", *recorded).status_code == 404


def begin(client, serial, content, kind, *, length, **headers):
    return client.post(
        f"/api/v1/pieces/{serial}/spins/uploads?operator=Ines",
        content=content,
        headers={"content-type": kind, "upload-complete": "?0", "upload-length": str(length), **headers},
    )  # fmt: skip


def test_an_upload_goes_on_where_it_stopped(client, recorded):
    add(client, "U-1")
    body, kind = form(recorded)
    begun = begin(client, "U-1", body[:100_000], kind, length=len(body))
    assert begun.status_code == 201
    place = begun.headers["location"]
    asked = client.head(place)
    assert asked.status_code == 204
    assert asked.headers["upload-offset"] == "100000" and asked.headers["upload-complete"] == "?0"
    assert (
        asked.headers["upload-length"] == str(len(body))
        and asked.headers["cache-control"] == "no-store"
    )
    more = client.patch(
        place,
        content=body[100_000:250_000],
        headers={**PART, "upload-offset": "100000", "upload-complete": "?0"},
    )
    assert more.status_code == 204 and more.headers["upload-offset"] == "250000"
    last = client.patch(
        place,
        content=body[250_000:],
        headers={**PART, "upload-offset": "250000", "upload-complete": "?1"},
    )
    assert last.status_code == 201 and last.json()["verdict"] == "fail"
    (run,) = runs(client, "U-1")
    assert run["by"] == "Ines"
    assert client.head(place).status_code == 404  # it is in the ledger
    assert not list(Uploads(client.app.state.shop).folder.iterdir())


def test_a_file_alone_takes_its_name_from_the_disposition_and_a_wrong_offset_is_told(
    client, recorded
):
    add(client, "U-2")
    named = {"content-disposition": 'attachment; filename="run.flac"'}
    begun = begin(client, "U-2", recorded[0][:5000], "audio/flac", length=len(recorded[0]), **named)
    place = begun.headers["location"]
    wrong = client.patch(
        place, content=b"x", headers={**PART, "upload-offset": "4000", "upload-complete": "?0"}
    )
    assert wrong.status_code == 409 and wrong.headers["upload-offset"] == "5000"
    assert wrong.json()["type"].endswith("#mismatching-upload-offset")
    assert wrong.headers["content-type"] == "application/problem+json"
    last = client.patch(
        place,
        content=recorded[0][5000:],
        headers={**PART, "upload-offset": "5000", "upload-complete": "?1"},
    )
    assert (
        last.status_code == 422 and "no phase channel" in last.json()["detail"]
    )  # nobody says what it is
    assert client.head(place).headers["upload-offset"] == str(
        len(recorded[0])
    )  # and nothing is lost
    assert runs(client, "U-2") == []
    assert client.delete(place).status_code == 204 and client.head(place).status_code == 404


def test_what_is_asked_of_an_upload_is_checked(client, recorded):
    add(client, "U-3")
    assert begin(client, "U-3", b"", "audio/flac", length=10**12).status_code == 422
    assert begin(client, "U-no", b"", "audio/flac", length=10).status_code == 404
    place = begin(client, "U-3", b"12345", "audio/flac", length=10).headers["location"]
    for headers, status in (
        ({"upload-offset": "5", "upload-complete": "?0"}, 422),  # no part
        ({**PART, "upload-offset": "5"}, 422),
        ({**PART, "upload-offset": "-5", "upload-complete": "?0"}, 422),
        ({**PART, "upload-offset": "5", "upload-complete": "?1"}, 422),  # one byte of five
    ):
        assert client.patch(place, content=b"6", headers=headers).status_code == status
    there = int(client.head(place).headers["upload-offset"])
    too_much = client.patch(
        place,
        content=b"x" * 20,
        headers={**PART, "upload-offset": str(there), "upload-complete": "?0"},
    )
    assert too_much.status_code == 422
    assert client.head("/api/v1/uploads/..%2f..%2fledger.sqlite").status_code == 404
    assert client.head("/api/v1/uploads/" + "a" * 32).status_code == 404


def test_what_came_before_the_line_was_cut_counts(client, recorded):
    add(client, "U-5")
    body, kind = form(recorded)
    place = begin(client, "U-5", b"", kind, length=len(body)).headers["location"]
    headers = {**PART, "host": "127.0.0.1", "upload-offset": "0", "upload-complete": "?1"}
    scope = {
        "type": "http", "method": "PATCH", "path": place, "raw_path": place.encode(), "query_string": b"",
        "root_path": "", "scheme": "http", "http_version": "1.1", "server": ("127.0.0.1", 80),
        "client": ("127.0.0.1", 5000), "headers": [(k.encode(), v.encode()) for k, v in headers.items()],
    }  # fmt: skip
    coming = [
        {"type": "http.request", "body": body[:60_000], "more_body": True},
        {"type": "http.disconnect"},
    ]

    async def receive():
        return coming.pop(0) if len(coming) > 1 else coming[0]

    async def send(_):
        pass

    with ThreadPoolExecutor(1) as apart:  # a browser's test may have left a loop in this thread
        apart.submit(lambda: asyncio.run(client.app(scope, receive, send))).result()
    assert client.head(place).headers["upload-offset"] == "60000"
    last = client.patch(
        place,
        content=body[60_000:],
        headers={**PART, "upload-offset": "60000", "upload-complete": "?1"},
    )
    assert last.status_code == 201 and len(runs(client, "U-5")) == 1


def test_an_upload_is_there_after_a_restart_of_the_program(tmp_path, recorded):
    body, kind = form(recorded)
    with TestClient(create_app(tmp_path / "data", demo=True), base_url="http://127.0.0.1") as first:
        add(first, "U-4")
        place = begin(first, "U-4", body[:70_000], kind, length=len(body)).headers["location"]
    with TestClient(
        create_app(tmp_path / "data", demo=True), base_url="http://127.0.0.1"
    ) as second:
        there = int(second.head(place).headers["upload-offset"])
        assert there == 70_000
        last = second.patch(
            place,
            content=body[there:],
            headers={**PART, "upload-offset": str(there), "upload-complete": "?1"},
        )
        assert last.status_code == 201 and len(runs(second, "U-4")) == 1


def test_a_watched_folder_is_told_of_on_the_rigs_page_and_at_the_bench(tmp_path, recorded):
    channels = json.loads(recorded[1])["channels"]
    rig = RigFile.model_validate(
        {"name": "High 1", "sample_rate_hz": 51_200, "rotation": "clockwise", "channel": channels,
         "watch": str(tmp_path)}
    )  # fmt: skip
    app = create_app(tmp_path / "data", watch=[rig])
    with TestClient(app, base_url="http://127.0.0.1") as client:
        app.state.watchers.stop()  # the test looks itself, in its own time
        (folder,) = app.state.watchers.folders
        model = {"name": "Larch 52", "rotation": "clockwise", "rated_speed_rpm": 175_000,
                 "test_speed_rpm": 150_000, "limit": [{"limit_g": 0.5}],
                 "plane": [{"name": "nut", "radius_mm": 6.0}]}  # fmt: skip
        assert client.post("/api/v1/models", json={"content": model}).status_code < 300
        for serial in ("W-1", "W-2"):
            assert (
                client.post(
                    "/api/v1/pieces", json={"serial": serial, "model": "Larch 52"}
                ).status_code
                < 300
            )
        for name, content in (
            ("W-1.flac", recorded[0]),
            ("W-2.flac", recorded[0][:9000]),
            ("other.flac", recorded[0]),
        ):
            (tmp_path / name).write_bytes(content)
        now = [0.0]
        folder._clock = lambda: now[0]
        for now[0] in (0.0, 20.0, 45.0, 70.0):
            app.state.watchers.round()
        assert [r["verdict"] for r in runs(client, "W-1")] == ["fail"]
        page = client.get("/rigs").text
        assert "other.flac" in page and "names no piece" in page
        told = client.get("/api/v1/watched").json()["folders"][0]
        assert {f["name"]: f["state"] for f in told["files"]} == {
            "other.flac": "waits",
            "W-2.flac": "bad",
        }
        assert "W-2.flac" in client.get("/bench/W-2").text  # at its own bench
        assert "W-2.flac" not in client.get("/bench/W-1").text
