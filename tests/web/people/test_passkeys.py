"""Passkeys: whose they are, where they hold, once, with their person there; and how each of these is got around."""

import json
import sqlite3
import threading
import time

import pytest
from fastapi.testclient import TestClient
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st
from web.people.authenticator import (
    BACKED_UP,
    MAY_BE_BACKED_UP,
    PRESENT,
    VERIFIED,
    Device,
    data_of,
    text,
)

from heavyspot.quantities.errors import BadInput
from heavyspot.web.app import create_app
from heavyspot.workshop import passkeys as passkeys_module
from heavyspot.workshop.passkeys import GOOD_FOR_S, Site, site_of
from heavyspot.workshop.people import LOCAL

PASSWORD = "warm oil, cold hands"
SHOP = "https://shop.example"
HERE = Site("shop.example", SHOP)


@pytest.fixture(scope="module")
def app(tmp_path_factory):
    data = tmp_path_factory.mktemp("passkeys") / "data"
    made = create_app(data, demo=True)
    for name, role in (("Tess", "technician"), ("Ivo", "inspector"), ("Ona", "owner")):
        made.state.people.set_user(name, role, PASSWORD)
    made.state.shop.close()
    return create_app(data, accounts=True)


@pytest.fixture(autouse=True)
def none_yet(app):
    for k in app.state.passkeys.passkeys():
        app.state.passkeys.end(k.id, LOCAL)


def nobody(app, at=SHOP):
    return TestClient(app, base_url=at, follow_redirects=False)


def in_browser(app, name, at=SHOP):
    client = nobody(app, at)
    client.post("/login", data={"name": name, "password": PASSWORD})
    return ours(app, client)


def ours(app, client):
    client.headers["X-CSRF-Token"] = app.state.people.who(client.cookies["heavyspot"]).csrf
    return client


def added(app, name="Tess", label="the phone", **how):
    """Return a device whose passkey was added over HTTP."""
    client, device = in_browser(app, name), Device(SHOP, **how)
    options = client.post("/passkeys/begin", data={"password": PASSWORD}).text
    done = client.post("/passkeys", data={"label": label, "answer": device.make(options)})
    assert done.status_code == 303, done.text
    return device


def question(app, at=SHOP):
    return nobody(app, at).post("/login/passkey/begin").text


def shown(app, answer, at=SHOP):
    return nobody(app, at).post("/login/passkey", data={"answer": answer})


def id_of(app, device):
    return next(k.id for k in app.state.passkeys.passkeys() if k.credential_id == text(device.id))


def test_it_is_added_and_lets_in_without_a_name(app):
    device = added(app, "Ivo")
    told = json.loads(question(app))
    assert told["userVerification"] == "required" and not told.get("allowCredentials")
    client = nobody(app)
    entered = client.post("/login/passkey", data={"answer": device.show(question(app))})
    assert entered.status_code == 303 and "secure" in entered.headers["set-cookie"].lower()
    person = app.state.people.who(client.cookies["heavyspot"])
    assert (person.name, person.role, person.by_pin) == ("Ivo", "inspector", False)
    page = client.get("/passkeys").text
    assert "the phone" in page and page.count("Ivo") >= 1
    assert "passkey" in in_browser(app, "Ona").get("/audit").text


def test_only_public_data_is_kept(app):
    device = added(app, "Tess", "kept")
    private = device.key.private_numbers().private_value.to_bytes(32, "big")
    app.state.shop.book._engine.dispose()
    c = sqlite3.connect(app.state.shop.folder / "ledger.sqlite")
    rows = c.execute("select * from passkeys where label = 'kept'").fetchall()
    dump = "".join(c.iterdump())
    c.close()
    assert len(rows) == 1 and private.hex() not in dump.lower()
    links = app.state.shop.book.check_chain()
    assert list(links) == []


@pytest.mark.parametrize(
    "lies",
    [
        {"origin": "https://shop.example.evil.example"},
        {"origin": "http://shop.example"},
        {"origin": "https://shop.example:444"},
        {"rp_id": "evil.example"},
        {"challenge": text(b"x" * 64)},
        {"signature": b"\x30\x06\x02\x01\x01\x02\x01\x01"},
        {"handle": text(b"x" * 32)},
    ],
)
def test_what_does_not_fit_lets_nobody_in(app, lies):
    device = added(app)
    answer = shown(app, device.show(question(app), **lies))
    assert answer.status_code == 422 and "set-cookie" not in answer.headers
    assert shown(app, device.show(question(app))).status_code == 303


@pytest.mark.parametrize("lies", [{"origin": "https://evil.example"}, {"rp_id": "evil.example"}])
def test_what_was_made_elsewhere_is_not_kept(app, lies):
    client, before = in_browser(app, "Tess"), len(app.state.passkeys.passkeys())
    options = client.post("/passkeys/begin", data={"password": PASSWORD}).text
    done = client.post(
        "/passkeys", data={"label": "x", "answer": Device(SHOP).make(options, **lies)}
    )
    assert done.status_code == 422 and len(app.state.passkeys.passkeys()) == before


def test_its_person_must_be_verified(app):
    device = added(app)
    device.flags = PRESENT
    assert shown(app, device.show(question(app))).status_code == 422
    client = in_browser(app, "Tess")
    options = client.post("/passkeys/begin", data={"password": PASSWORD}).text
    assert json.loads(options)["authenticatorSelection"]["userVerification"] == "required"
    answer = Device(SHOP, flags=PRESENT).make(options)
    assert client.post("/passkeys", data={"label": "x", "answer": answer}).status_code == 422


def test_an_answer_is_good_once(app):
    device = added(app)
    answer = device.show(question(app))
    assert [shown(app, answer).status_code for _ in range(3)] == [303, 422, 422]
    client, other = in_browser(app, "Tess"), Device(SHOP)
    made = other.make(client.post("/passkeys/begin", data={"password": PASSWORD}).text)
    sent = [
        client.post("/passkeys", data={"label": "x", "answer": made}).status_code for _ in range(2)
    ]
    assert sent == [303, 422]


def test_of_the_same_answer_at_once_one_lets_in(app):
    device = added(app)
    answer, came = device.show(question(app)), []
    both = [
        threading.Thread(target=lambda: came.append(shown(app, answer).status_code))
        for _ in range(6)
    ]
    for one in both:
        one.start()
    for one in both:
        one.join()
    assert sorted(came) == [303] + [422] * 5


def test_a_question_is_short_lived_and_for_one_purpose(app, monkeypatch):
    device = added(app)
    late, early = question(app), question(app)
    now = time.monotonic()
    with monkeypatch.context() as m:
        m.setattr(time, "monotonic", lambda: now + GOOD_FOR_S + 2)
        assert "too long" in shown(app, device.show(late)).text
    assert shown(app, device.show(early)).status_code == 303
    tess, ivo, other = in_browser(app, "Tess"), in_browser(app, "Ivo"), Device(SHOP)
    hers = tess.post("/passkeys/begin", data={"password": PASSWORD}).text
    assert shown(app, device.show(hers)).status_code == 422  # a question for adding lets nobody in
    theirs = ivo.post("/passkeys", data={"label": "x", "answer": other.make(hers)})
    assert theirs.status_code == 422  # nor does it add to another's


def test_a_restart_forgets_every_question_and_so_every_answer(app):
    device = added(app)
    answer = device.show(question(app))
    assert shown(app, answer).status_code == 303
    again = passkeys_module.Passkeys(app.state.shop.book.accounts, app.state.people)
    with pytest.raises(BadInput):
        again.log_in(answer, HERE)


def test_a_counter_that_goes_back_is_a_copy(app):
    device = added(app, counts=True)
    for _ in range(2):
        assert shown(app, device.show(question(app))).status_code == 303
    device.count -= 2
    assert shown(app, device.show(question(app))).status_code == 422  # as at the last login
    device.count = 0
    device.counts = False
    assert shown(app, device.show(question(app))).status_code == 422  # nor does it stop counting
    device.count, device.counts = 40, True
    assert shown(app, device.show(question(app))).status_code == 303


def test_a_counter_is_compared_again_where_it_is_written(app):
    """Two copies at the same moment: both were compared with the counter of before."""
    device = added(app, counts=True)
    passkey = next(k for k in app.state.passkeys.passkeys() if k.credential_id == text(device.id))
    shown(app, device.show(question(app)))
    with pytest.raises(BadInput, match="went back"):
        app.state.people.enter(passkey)  # as it was read before


def test_one_that_is_backed_up_counts_nothing_and_holds(app):
    flags = PRESENT | VERIFIED | MAY_BE_BACKED_UP | BACKED_UP
    device = added(app, flags=flags)
    for _ in range(3):
        assert shown(app, device.show(question(app))).status_code == 303


def test_an_open_screen_alone_adds_none(app):
    client = in_browser(app, "Tess")
    assert client.post("/passkeys/begin", data={"password": "guess"}).status_code == 422
    assert client.post("/passkeys/begin").status_code == 422
    app.state.people._tries._known.clear()
    options = client.post("/passkeys/begin", data={"password": PASSWORD}).text
    assert json.loads(options)["rp"]["id"] == "shop.example"
    assert "Tess" not in data_of(json.loads(options)["user"]["id"]).decode("latin-1")
    del client.headers["X-CSRF-Token"]
    assert client.post("/passkeys/begin", data={"password": PASSWORD}).status_code == 403
    app.state.people.set_pin(app.state.people.who(client.cookies["heavyspot"]), "7294")
    token = app.state.people.take_over("Tess", "7294", token="")
    by_pin = nobody(app)
    by_pin.cookies["heavyspot"] = token
    assert ours(app, by_pin).post("/passkeys/begin", data={"password": PASSWORD}).status_code == 422


def test_it_ends_and_its_logins_with_it(app):
    device, other = added(app, "Tess", "one"), added(app, "Tess", "other")
    client = nobody(app)
    client.post("/login/passkey", data={"answer": device.show(question(app))})
    assert client.get("/").status_code == 200
    ivo, ona = in_browser(app, "Ivo"), in_browser(app, "Ona")
    its = id_of(app, device)
    assert its not in ivo.get("/passkeys").text and its in ona.get("/passkeys").text
    assert ivo.post("/passkeys/end", data={"id_": its}).status_code == 404
    assert ona.post("/passkeys/end", data={"id_": its}).status_code == 303
    assert client.get("/").status_code == 303 and client.get("/api/v1/models").status_code == 401
    assert shown(app, device.show(question(app))).status_code == 422
    assert shown(app, other.show(question(app))).status_code == 303
    assert ours(app, in_browser(app, "Tess")).post(
        "/passkeys/end", data={"id_": id_of(app, other)}
    ).status_code == 303  # fmt: skip


def test_a_new_password_ends_it(app):
    """Whoever had the old password may have added one."""
    app.state.people.set_user("Una", "technician", PASSWORD)
    device = added(app, "Una")
    app.state.people.set_user("Una", "technician", PASSWORD)
    assert shown(app, device.show(question(app))).status_code == 422
    assert not app.state.passkeys.passkeys("Una")
    again = added(app, "Una")
    app.state.people.end_user("Una")
    assert shown(app, again.show(question(app))).status_code == 422


def test_it_holds_for_one_name_of_the_server(app):
    """The same server under another name: a browser would not show it there, and the program does not take it."""
    device = added(app)
    device.origin = "https://other.example"
    asked = question(app, "https://other.example")
    assert shown(app, device.show(asked, rp_id="other.example"), device.origin).status_code == 422
    assert shown(app, device.show(asked), device.origin).status_code == 422


@pytest.mark.parametrize(
    ("scheme", "host", "site"),
    [
        ("https", "shop.example", Site("shop.example", "https://shop.example")),
        ("https", "Shop.example:8443", Site("shop.example", "https://shop.example:8443")),
        ("https", "shop.example:443", Site("shop.example", "https://shop.example")),
        ("http", "localhost:8520", Site("localhost", "http://localhost:8520")),
    ],
)
def test_where_it_works(scheme, host, site):
    assert site_of(scheme, host) == site


@pytest.mark.parametrize(
    ("scheme", "host"),
    [
        ("http", "shop.example"), ("http", "127.0.0.1:8520"), ("https", "192.168.1.5"), ("https", "[::1]:8520"),
        ("https", ""), ("http", "localhost.evil.example"),
    ],
)  # fmt: skip
def test_where_it_does_not_is_said(app, scheme, host):
    with pytest.raises(BadInput, match="only"):
        site_of(scheme, host)


def test_the_page_says_where_it_does_not_work(app):
    client = in_browser(app, "Tess", "http://10.1.2.3")
    page = client.get("/passkeys").text
    assert "only over https" in page and "data-passkey" not in page
    refused = client.post("/passkeys/begin", data={"password": PASSWORD})
    assert refused.status_code == 422 and "https" in refused.json()["detail"]
    assert nobody(app, "http://10.1.2.3").post("/login/passkey/begin").status_code == 422


@pytest.mark.parametrize("language", ["de", "es", "fr", "zh"])
def test_the_pages_speak_the_readers_language(app, language):
    client = in_browser(app, "Tess")
    english = client.get("/passkeys").text
    client.headers["Accept-Language"] = language
    assert "Passkeys work" not in client.get("/passkeys").text
    assert "A new passkey" in english and "A new passkey" not in client.get("/passkeys").text
    assert "Log in with a passkey" not in nobody(app).get(
        "/login", headers={"Accept-Language": language}
    ).text  # fmt: skip


def test_nothing_odd_is_a_fault_of_ours(app):
    device = added(app)
    good = json.loads(device.show(question(app)))
    odd = ["", "{", "[]", "null", "7", '{"response": 3}', "x" * 30_000, "[" * 9_000]
    values: list[object] = [None, 7, [], {}, "", "AA", "\ud800x"]
    odd += [json.dumps(good | {k: v}) for k in good for v in values]
    inner = good["response"]
    odd += [json.dumps(good | {"response": inner | {k: v}}) for k in inner for v in values]
    for one in odd:
        status = shown(app, one).status_code
        assert status == 422 or (status == 303 and '"userHandle"' in one), one[:80]


FIELDS = st.sampled_from(["clientDataJSON", "authenticatorData", "signature"])


@pytest.fixture
def device(app, none_yet):
    return added(app)


@settings(
    max_examples=40, deadline=None, suppress_health_check=[HealthCheck.function_scoped_fixture]
)
@given(FIELDS, st.integers(0, 10_000), st.integers(1, 255))
def test_a_changed_byte_lets_nobody_in(app, device, field, place, by):
    good = json.loads(device.show(question(app)))
    raw = bytearray(data_of(good["response"][field]))
    raw[place % len(raw)] ^= by
    good["response"][field] = text(bytes(raw))
    with pytest.raises(BadInput):
        app.state.passkeys.log_in(json.dumps(good), HERE)
