"""A person's key for a program: shown once, kept hashed, with a scope and an end, and no way around a person."""

import sqlite3

import pytest
from fastapi.testclient import TestClient

from heavyspot.quantities.errors import BadInput, NotThere
from heavyspot.web.app import create_app
from heavyspot.web.roles import ACCESS
from heavyspot.workshop import people as people_module
from heavyspot.workshop.people import KEY_BEGINS, LOCAL, SCOPES

PASSWORD = "warm oil, cold hands"


@pytest.fixture(scope="module")
def app(tmp_path_factory):
    data = tmp_path_factory.mktemp("keys") / "data"
    made = create_app(data, demo=True)
    for name, role in (("Tess", "technician"), ("Ivo", "inspector"), ("Ona", "owner")):
        made.state.people.set_user(name, role, PASSWORD)
    made.state.shop.close()
    return create_app(data, accounts=True)


def asking(app, key, **headers):
    made = TestClient(app, base_url="http://10.1.2.3", follow_redirects=False)
    made.headers |= {"Authorization": f"Bearer {key}", **headers}
    return made


def made(app, name="Tess", scope="read", days=9):
    return app.state.people.make_key_of(name, "the press", scope, days)


def in_browser(app, name):
    client = TestClient(app, base_url="http://10.1.2.3", follow_redirects=False)
    client.post("/login", data={"name": name, "password": PASSWORD})
    client.headers["X-CSRF-Token"] = app.state.people.who(client.cookies["heavyspot"]).csrf
    return client


def test_it_is_shown_once_and_kept_hashed(app):
    client = in_browser(app, "Tess")
    answer = client.post("/api/v1/keys", json={"label": "the press", "scope": "read", "days": 30},
                         headers={"Idempotency-Key": "one"})  # fmt: skip
    key = answer.json()["key"]
    assert answer.status_code == 201 and key.startswith(KEY_BEGINS) and len(key) > 40
    assert key not in client.get("/api/v1/keys").text and key not in client.get("/keys").text
    app.state.shop.book._engine.dispose()
    with sqlite3.connect(app.state.shop.folder / "ledger.sqlite") as c:
        assert key not in "".join(c.iterdump())
    c.close()
    page = client.post("/keys", data={"label": "a page", "scope": "write", "days": "5"})
    assert page.status_code == 201 and page.text.count(KEY_BEGINS) == 1
    assert asking(app, key).get("/api/v1/models").status_code == 200


@pytest.mark.parametrize("scope", SCOPES)
@pytest.mark.parametrize("name", ["Tess", "Ona"])
def test_no_key_reaches_beyond_its_scope(app, scope, name):
    client = asking(app, made(app, name, scope))
    for key in ACCESS:
        method, path = key.split(" ")
        least = ACCESS[key]
        if method == "WS" or least in ("anyone", "station"):
            continue
        for part in (
            "serial:path",
            "name:path",
            "job_id",
            "cut_id",
            "id_",
            "delivery",
            "code",
            "rig:path",
            "name",
            "number",
        ):
            path = path.replace("{" + part + "}", "7" if part == "number" else "nobody")
        status = client.request(
            method, path, json={} if method not in ("GET", "DELETE") else None
        ).status_code
        by_person = path.startswith(("/api/v1/users", "/api/v1/keys", "/api/v1/hooks"))
        within = {
            "read": method == "GET" and path.startswith("/api/v1/"), "write": path.startswith("/api/v1/"),
            "metrics": path == "/metrics",
        }[scope] and not by_person  # fmt: skip
        if not within:
            assert status == 403, (key, status)
        elif name == "Ona" or least == "technician" or scope == "metrics":
            assert status not in (401, 403), (key, status)
        else:
            assert status == 403, (key, status)


def test_what_it_writes_carries_its_persons_name_and_no_form_is_needed(app):
    client = asking(app, made(app, "Tess", "write"))
    body = {"serial": "K-1", "model": "Larch 52"}
    for _ in range(2):
        assert (
            client.post("/api/v1/pieces", json=body, headers={"Idempotency-Key": "k"}).status_code
            == 201
        )
    from heavyspot.workshop.shop import find_piece

    assert find_piece(app.state.shop, "K-1").by == "Tess"


@pytest.mark.parametrize("key", ["", "hsk_", "hsk_" + "x" * 43, "Bearer", "\u00fc", "x" * 9000])
def test_what_is_no_key_is_nobody(app, key):
    logged_in = in_browser(app, "Ona")
    headers = [(b"Authorization", f"bearer {key}".encode("latin-1"))]
    assert (
        logged_in.get("/api/v1/models", headers=headers).status_code == 401
    )  # nor does the login beside it count


def test_it_ends(app, monkeypatch):
    people = app.state.people
    ended, over, old = made(app), made(app), made(app, "Ivo")
    (first,) = [k.id for k in people.keys("Tess")][-2:-1]
    people.end_key(first, LOCAL)
    assert asking(app, ended).get("/api/v1/models").status_code == 401
    with pytest.raises(NotThere):
        people.end_key(first, LOCAL)
    assert asking(app, over).get("/api/v1/models").status_code == 200
    with monkeypatch.context() as m:
        m.setattr("heavyspot.ledger.store.accounts.now_utc", lambda: "2999-01-01T00:00:00.000Z")
        assert asking(app, over).get("/api/v1/models").status_code == 401
    people.set_user(
        "Ivo", "inspector", PASSWORD + "!"
    )  # a new password: who had the old one had the key, too
    assert asking(app, old).get("/api/v1/models").status_code == 401
    people.end_user("Ivo")
    with pytest.raises(NotThere):
        made(app, "Ivo")


def test_nobody_ends_or_sees_anothers_but_an_owner(app):
    made(app, "Ona")
    key = app.state.people.keys("Ona")[-1].id
    tess, ona = in_browser(app, "Tess"), in_browser(app, "Ona")
    assert key not in tess.get("/api/v1/keys").text and key in ona.get("/api/v1/keys").text
    assert tess.delete(f"/api/v1/keys/{key}").status_code == 404
    assert ona.delete(f"/api/v1/keys/{key}").status_code == 200
    with pytest.raises(BadInput, match="by password"):
        app.state.people.make_key(
            people_module.Person("Tess", "technician", scope="write"), "x", "write", 5
        )
    for wrong in (
        ("", "read", 5),
        ("x", "all", 5),
        ("x", "read", 0),
        ("x", "read", 400),
        ("x" * 81, "read", 5),
    ):
        with pytest.raises(BadInput):
            app.state.people.make_key_of("Tess", *wrong)


def test_the_owner_sees_who_wrote_what(app):
    tess, ona = in_browser(app, "Tess"), in_browser(app, "Ona")
    tess.post("/api/v1/pieces", json={"serial": "<b>A-7</b>", "model": "Larch 52"})
    assert tess.get("/audit").status_code == 403
    text = ona.get("/audit?by=tess&table=pieces").text
    assert "&lt;b&gt;A-7&lt;/b&gt;" in text and "<b>A-7" not in text
    assert "Ona" not in text.split("<tbody>")[1].split("</tbody>")[0]
    assert "logged" in ona.get("/audit").text or "password" in ona.get("/audit").text
    every = app.state.shop.book.head()[0]
    seen, before = [], 0
    while True:
        rows, before = app.state.shop.book.audit.written(before=before, most=7)
        seen += [r.number for r in rows]
        if not before:
            break
    assert seen == list(range(every, 0, -1))
    for odd in (
        "/audit?before=-5",
        "/audit?table=logins",
        "/audit?table=x",
        "/audit?by=" + "y" * 500,
    ):
        assert ona.get(odd).status_code == 200
    assert "password_hash" not in ona.get("/audit?table=users").text
    assert "argon2" not in ona.get("/audit?table=users").text
