"""Sheets over HTTP: a GET never issues one, whoever asks; a POST does, with a reason."""

import pytest
from fastapi.testclient import TestClient
from web.over_http import add, wait

from heavyspot.web.app import create_app


@pytest.fixture(scope="module")
def client(tmp_path_factory):
    app = create_app(tmp_path_factory.mktemp("sheets") / "data", demo=True, pace=40.0)
    with TestClient(app, base_url="http://127.0.0.1") as made:
        add(made, "G-1")
        made.post("/api/v1/bench/G-1/spin", json={})
        wait(made, "G-1")
        made.post("/api/v1/rotors", json={"serial": "G-2", "rotor": "Blower 900"})
        made.post("/api/v1/rotors/G-2/readings", json={"amounts": [1, 1], "angles_deg": [1, 2]})
        yield made


READS = {
    "G-1": ("/bench/G-1/sheet.pdf", "/api/v1/pieces/G-1/sheet.pdf"),
    "G-2": ("/rotor/G-2/sheet.pdf", "/api/v1/rotors/G-2/sheet.pdf"),
}
ISSUES = {
    "G-1": ("/api/v1/pieces/G-1/sheets", "/bench/G-1/sheet"),
    "G-2": ("/api/v1/rotors/G-2/sheets", "/rotor/G-2/sheet"),
}


@pytest.mark.parametrize("serial", ["G-1", "G-2"])
def test_reading_never_issues_and_gives_the_same_bytes(client, serial):
    head = client.app.state.shop.book.head
    before = head()
    for path in READS[serial]:
        assert client.get(path).status_code == 404
    assert head() == before
    api, form = ISSUES[serial]
    made = client.post(api, json={})
    assert made.status_code == 201
    number, after = made.json()["number"], head()
    places = [*READS[serial], f"/sheets/{number}.pdf", f"/api/v1/sheets/{number}.pdf"]
    first = {client.get(path).content for path in places for _ in range(2)}
    assert len(first) == 1 and first.pop().startswith(b"%PDF")
    assert client.post(api, json={}).status_code == 422  # no reason
    again = client.post(form)  # the press that wants the sheet: the one that stands
    assert number in again.headers["content-disposition"]
    assert head() == after
    told = client.post(api, json={"why": "the address was wrong"}).json()
    assert told["number"] != number
    assert client.get(READS[serial][0]).content != client.get(f"/sheets/{number}.pdf").content


def test_a_job_s_sheets(client):
    shop = client.app.state.shop
    job_id = shop.book.jobs.piece("G-1").job_id
    client.post(f"/jobs/{job_id}/sheets")
    after = shop.book.head()
    for _ in range(2):
        assert client.get(f"/jobs/{job_id}/sheets.zip").content.startswith(b"PK")
    assert client.post(f"/jobs/{job_id}/sheets").content.startswith(b"PK")
    assert shop.book.head() == after


@pytest.mark.parametrize("number", ["..", "%2e%2e%2fshop-key", "2026-00001/../x", "0" * 400])
def test_a_number_is_no_path(client, number):
    assert client.get(f"/sheets/{number}.pdf").status_code == 404
    assert client.get(f"/api/v1/sheets/{number}.pdf").status_code == 404
