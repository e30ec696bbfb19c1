"""Every refusal to a program has the one shape of RFC 9457, whoever refuses: a route, the framework, the doors."""

import re

import pytest
from fastapi.testclient import TestClient
from web.over_http import add

from heavyspot.quantities.errors import HeavyspotError, code_of
from heavyspot.web.app import create_app
from heavyspot.web.contract.problem import CODES, MEDIA
from heavyspot.workshop.people import people_of

NEEDED = {"type", "title", "status", "detail", "instance"}
"""RFC 9457, section 3.1."""


def shaped(answer, status, code):
    said = answer.json()
    assert answer.status_code == status == said["status"], said
    assert answer.headers["content-type"] == MEDIA  # RFC 9457, section 3
    assert said.keys() >= NEEDED and said["code"] == code and said["title"] == CODES[code]
    assert said["type"].endswith(f"/problems/{code}") and said["detail"]
    return said


REFUSED = [
    ("GET", "/api/v1/pieces/none", {}, 404, "not-there"),
    ("GET", "/api/v1/nothing", {}, 404, "no-such-address"),
    ("GET", "/api/v1", {}, 404, "no-such-address"),
    ("PUT", "/api/v1/pieces", {"content": b"{}"}, 405, "no-such-method"),
    ("POST", "/api/v1/pieces", {"json": {"serial": "P-1", "model": "Larch 52"}}, 409, "taken"),
    ("POST", "/api/v1/pieces", {"json": {"serial": 5}}, 422, "invalid-request"),
    ("POST", "/api/v1/pieces", {"content": b"{"}, 422, "invalid-request"),
    ("POST", "/api/v1/pieces/P-1/cuts", {"json": {"plane": "nut", "angle_deg": 1}}, 422, "bad-input"),
    ("POST", "/api/v1/pieces/P-1/spins", {"content": b"x", "headers": {"content-type": "multipart/form-data"}},
     400, "bad-request"),
    ("POST", "/api/v1/pieces/P-1/spins", {"files": {"recording": ("a.wav", b"no sound")}}, 422, "unreadable-file"),
    ("POST", "/api/v1/pieces", {"content": b"x" * 4_000_001}, 413, "too-large"),
    ("POST", "/api/v1/pieces", {"json": {}, "headers": {"origin": "https://elsewhere.example"}}, 403, "other-site"),
    ("GET", "/api/v1/pieces", {"headers": {"host": "elsewhere.example"}}, 400, "wrong-host"),
    ("POST", "/api/v1/pieces", {"json": {}, "headers": {"idempotency-key": "x" * 201}}, 422, "bad-input"),
    ("GET", "/api/v1/jobs?cursor=nonsense", {}, 422, "bad-input"),
    ("GET", "/api/v1/jobs?limit=5000", {}, 422, "invalid-request"),
    ("PATCH", "/api/v1/uploads/none", {"headers": {"upload-complete": "?1", "content-type":
     "application/partial-upload"}}, 404, "not-there"),
    ("GET", "/api/v1/exchange", {}, 401, "not-logged-in"),
    ("GET", "/api/v1/problems/none", {}, 404, "not-there"),
]  # fmt: skip


@pytest.fixture(scope="module")
def furnished(client):
    add(client, "P-1")
    return client


@pytest.mark.parametrize(("method", "path", "sent", "status", "code"), REFUSED)
def test_refusals_have_one_shape(furnished, method, path, sent, status, code):
    shaped(furnished.request(method, path, **sent), status, code)


def test_where_a_problem_leads_it_is_explained(furnished):
    said = furnished.get("/api/v1/pieces/none").json()
    assert furnished.get(said["type"]).json() == {"code": "not-there", "title": said["title"]}
    assert said["instance"] == "/api/v1/pieces/none" and said["remedy"]


def test_everything_wrong_with_a_body_is_told_at_once_and_nothing_of_it_echoed(furnished):
    body = {"serial": 5, "colour": "<script>"}
    said = furnished.post("/api/v1/pieces", json=body).json()
    assert {e["place"] for e in said["errors"]} == {"body.serial", "body.model", "body.colour"}
    assert "<script>" not in str(said)


def test_every_error_of_ours_has_a_code_that_is_explained():
    def kinds(kind):
        yield kind
        for under in kind.__subclasses__():
            yield from kinds(under)

    for kind in kinds(HeavyspotError):
        assert code_of(kind("x", remedy="y")) in CODES


def test_a_fault_of_ours_is_a_problem_with_its_request_id_and_says_nothing_else(
    tmp_path, monkeypatch
):
    app = create_app(tmp_path / "data", demo=True)
    monkeypatch.setattr(type(app.state.shop.book.models), "names", lambda *_: 1 / 0)
    with TestClient(app, base_url="http://127.0.0.1", raise_server_exceptions=False) as client:
        answer = client.get("/api/v1/models")
        said = shaped(answer, 500, "program-fault")
        assert said["request_id"] == answer.headers["x-request-id"] and "Zero" not in answer.text


def test_without_a_login_and_without_the_role(tmp_path):
    app = create_app(tmp_path / "data", demo=True)
    app.state.accounts_needed = True
    people = people_of(app.state.shop)
    people.set_user("Tess", "technician", "long enough password", by="")
    with TestClient(app, base_url="http://127.0.0.1") as client:
        shaped(client.get("/api/v1/pieces"), 401, "not-logged-in")
        client.post("/login", data={"name": "Tess", "password": "long enough password"})
        shaped(client.get("/api/v1/users"), 403, "not-allowed")


def test_a_wrong_offset_keeps_the_type_that_its_draft_registered(furnished):
    begun = furnished.post(
        "/api/v1/pieces/P-1/spins/uploads", content=b"12345", headers={"upload-complete": "?0"}
    )
    place = begun.headers["location"]
    assert place.startswith("/api/v1/uploads/")
    head = {
        "upload-complete": "?0",
        "upload-offset": "3",
        "content-type": "application/partial-upload",
    }
    said = furnished.patch(place, content=b"678", headers=head)
    assert said.status_code == 409 and said.headers["content-type"] == MEDIA
    told = said.json()
    assert told["type"].startswith("https://iana.org/assignments/http-problem-types#")
    assert told["code"] == "wrong-offset" and told["expected-offset"] == 5


def test_the_old_addresses_answer_for_one_round_and_say_that_they_are_old(furnished):
    old, new = furnished.get("/api/pieces/P-1"), furnished.get("/api/v1/pieces/P-1")
    assert old.json() == new.json() and old.status_code == 200
    assert re.fullmatch(r"@\d+", old.headers["deprecation"])  # RFC 9745, section 2.1
    assert 'rel="successor-version"' in old.headers["link"]  # RFC 5829, section 3.3
    assert "deprecation" not in new.headers
    refused = furnished.get("/api/pieces/none")
    assert refused.json()["detail"] == refused.json()["detail"]  # as programs of before read it
    assert "error" not in furnished.get("/api/v1/pieces/none").json()
    assert isinstance(furnished.get("/api/pieces").json(), list)
    assert isinstance(furnished.get("/api/jobs").json(), list)
    assert furnished.get("/api/openapi.json").json() == furnished.get("/api/v1/openapi.json").json()


def test_a_write_by_the_old_address_is_the_same_write_by_the_new(furnished):
    body, head = {"serial": "P-OLD", "model": "Larch 52"}, {"Idempotency-Key": "old-and-new"}
    first = furnished.post("/api/pieces", json=body, headers=head)
    again = furnished.post("/api/v1/pieces", json=body, headers=head)
    assert first.status_code == again.status_code == 201 and first.json() == again.json()
    assert again.headers["idempotency-replayed"] == "true"


@pytest.mark.parametrize("path", ["/apiary", "/API/v1/pieces", "/api%2Fpieces/x"])
def test_what_only_looks_alike_is_a_page_that_is_not_there(furnished, path):
    answer = furnished.get(path)
    assert answer.status_code == 404


def test_serials_with_a_slash_survive_the_alias(furnished):
    add(furnished, "A/B 7")
    assert furnished.get("/api/pieces/A%2FB%207").json()["serial"] == "A/B 7"
