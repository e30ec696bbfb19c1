"""Who may do what: every route against every role, and what a stranger tries."""

import pytest
from fastapi.testclient import TestClient

from heavyspot.quantities.errors import BadInput
from heavyspot.web.access import route_keys
from heavyspot.web.app import ROUTERS, create_app
from heavyspot.web.roles import ACCESS
from heavyspot.web.serving import is_loopback
from heavyspot.workshop.job.pieces import add_piece
from heavyspot.workshop.people import ROLES
from heavyspot.workshop.shop import find_piece

PASSWORD = "warm oil, cold hands"


@pytest.fixture(scope="module")
def app(tmp_path_factory):
    data = tmp_path_factory.mktemp("access") / "data"
    with pytest.raises(BadInput, match="no owner"):
        create_app(data, demo=True, accounts=True)
    made = create_app(data, demo=True)
    for role in ROLES:
        made.state.people.set_user(role.title(), role, PASSWORD)
    add_piece(made.state.shop, "A-1", "Larch 52")
    made.state.shop.close()
    return create_app(data, accounts=True)


def logged_in(app, name):
    client = TestClient(app, base_url="http://10.1.2.3", follow_redirects=False)
    assert client.post("/login", data={"name": name, "password": PASSWORD}).status_code == 303
    return client


def csrf(client):
    text = client.get("/find").text
    return text.split('name="csrf" value="')[1].split('"')[0]


@pytest.fixture(scope="module")
def clients(app):
    stranger = TestClient(app, base_url="http://10.1.2.3", follow_redirects=False)
    return {role: logged_in(app, role.title()) for role in ROLES} | {"anyone": stranger}


def ask(client, key, headers=None):
    method, path = key.split(" ")
    # nobody: nothing that exists is touched
    for name in (
        "serial:path",
        "name:path",
        "job_id",
        "cut_id",
        "id_",
        "rig:path",
        "name",
        "number",
    ):
        path = path.replace("{" + name + "}", "7" if name == "number" else "nobody")
    json: dict[str, str] | None = (
        {} if path.startswith("/api") and method not in ("GET", "DELETE") else None
    )
    return client.request(method, path, headers=headers, json=json)


@pytest.mark.parametrize("key", [k for k in ACCESS if not k.startswith("WS")])
def test_each_route_asks_for_its_role(clients, key):
    least = ACCESS[key]
    for role, client in clients.items():
        token = {"X-CSRF-Token": csrf(client)} if role != "anyone" else {}
        if key == "POST /logout" and role != "anyone":
            continue  # ends the login the other cases need; tested below
        status = ask(client, key, token).status_code
        if least == "station":
            assert status == 401  # no login helps: its own key is asked for
        elif least == "anyone":
            assert status in (200, 404, 422)
        elif role == "anyone":
            assert status == (401 if key.split()[1].startswith("/api") else 303)
        elif ROLES.index(role) < ROLES.index(least):
            assert status == 403
        else:
            assert status not in (401, 403) and status < 500


def test_the_table_is_the_routes():
    routes = [k for router in ROUTERS for k in route_keys(router.routes)]
    assert set(routes) | {"GET /api/v1/openapi.json"} == set(ACCESS)


@pytest.mark.parametrize("key", [k for k in ACCESS if k.split()[0] in ("POST", "PATCH", "DELETE")])
def test_changes_need_the_token_of_this_login(clients, key):
    if ACCESS[key] in ("anyone", "station"):
        return
    answer = ask(clients["owner"], key)
    assert answer.status_code == 403 and "older login" in answer.text
    wrong = ask(clients["owner"], key, {"X-CSRF-Token": csrf(clients["technician"])})
    assert wrong.status_code == 403


def test_cookie_is_out_of_reach_and_new_at_each_login(app):
    client = TestClient(app, base_url="https://10.1.2.3", follow_redirects=False)
    client.cookies.set("heavyspot", "chosen-by-somebody-else")
    answer = client.post("/login", data={"name": "Owner", "password": PASSWORD})
    cookie = answer.headers["set-cookie"].lower()
    assert "httponly" in cookie and "samesite=strict" in cookie and "secure" in cookie
    assert "chosen-by-somebody-else" not in cookie


def test_wrong_passwords_have_to_wait(app):
    client = TestClient(app, base_url="http://10.1.2.3", follow_redirects=False)
    app.state.people.set_user("Slow", "technician", PASSWORD)
    texts = [
        client.post("/login", data={"name": "Slow", "password": f"wrong {i}"}).text
        for i in range(8)
    ]
    assert "Name or password is wrong" in texts[0] and "Too many" in texts[-1]
    right = client.post("/login", data={"name": "Slow", "password": PASSWORD})
    assert right.status_code == 422
    unknown = client.post("/login", data={"name": "Never", "password": "wrong"}).text
    assert "Name or password is wrong" in unknown


def test_logout_and_a_new_password_end_logins(app):
    people = app.state.people
    people.set_user("Brief", "technician", PASSWORD)
    one, two = logged_in(app, "Brief"), logged_in(app, "Brief")
    assert one.post("/logout", data={"csrf": csrf(one)}).status_code == 303
    assert one.get("/").status_code == 303 and two.get("/").status_code == 200
    people.set_user("Brief", "technician", PASSWORD + "!")
    assert two.get("/").status_code == 303
    with pytest.raises(BadInput, match="last owner"):
        people.end_user("Owner")
    people.end_user("Brief")
    assert "Brief" not in [u.name for u in people.users()]


def test_who_did_it_is_who_logged_in(app):
    client = logged_in(app, "Technician")
    head = {"X-CSRF-Token": csrf(client)}
    body = {"serial": "A-2", "model": "Larch 52", "by": "somebody else"}
    assert client.post("/api/v1/pieces", json=body, headers=head).status_code == 201
    assert find_piece(app.state.shop, "A-2").by == "Technician (says: somebody else)"


def test_websocket_needs_a_login(app):
    from starlette.websockets import WebSocketDisconnect

    client = TestClient(app, base_url="http://10.1.2.3")
    with pytest.raises(WebSocketDisconnect), client.websocket_connect("/bench/A-1/live"):
        pass


@pytest.mark.parametrize(
    ("host", "own"),
    [("127.0.0.1", True), ("localhost", True), ("::1", True), ("0.0.0.0", False), ("::", False),
     ("192.168.1.5", False), ("example.org", False)],
)  # fmt: skip
def test_only_loopback_goes_without(host, own):
    assert is_loopback(host) is own


def test_a_pin_takes_over_the_bench_as_a_technician(app):
    people = app.state.people
    for name, role in (("Ida P", "technician"), ("Jon P", "inspector")):
        people.set_user(name, role, PASSWORD)
    ida, jon = logged_in(app, "Ida P"), logged_in(app, "Jon P")
    for pin, why in (
        ("12", "four to eight"),
        ("1234", "first somebody"),
        ("1111", "first somebody"),
    ):
        answer = jon.post("/pin", data={"csrf": csrf(jon), "pin": pin})
        assert answer.status_code == 422 and why in answer.text
    assert jon.post("/pin", data={"csrf": csrf(jon), "pin": "4719"}).status_code == 303
    assert "Jon P" in ida.get("/switch").text
    old = ida.cookies["heavyspot"]
    wrong = ida.post("/switch", data={"csrf": csrf(ida), "name": "Jon P", "pin": "4710"})
    assert wrong.status_code == 422 and people.who(old).name == "Ida P"
    right = ida.post("/switch", data={"csrf": csrf(ida), "name": "Jon P", "pin": "4719"})
    assert right.status_code == 303 and people.who(old) is None
    now = people.who(ida.cookies["heavyspot"])
    assert (now.name, now.role, now.by_pin) == ("Jon P", "technician", True)
    assert ida.get("/models/edit").status_code == 403  # an inspector's work asks for the password
    refused = ida.post("/pin", data={"csrf": csrf(ida), "pin": "8264"})
    assert refused.status_code == 422 and "by password" in refused.text
    texts = [
        ida.post("/switch", data={"csrf": csrf(ida), "name": "Jon P", "pin": f"{k}"}).text
        for k in range(5000, 5008)
    ]
    assert "Too many" in texts[-1]
    assert (
        ida.post("/switch", data={"csrf": csrf(ida), "name": "Nobody", "pin": "1"}).status_code
        == 422
    )
    people.end_user("Jon P")
    assert ida.get("/").status_code == 303 and "Jon P" not in people.with_pins()
    assert (
        TestClient(app, base_url="http://10.1.2.3", follow_redirects=False)
        .post("/switch", data={"name": "Ida P", "pin": "4719"})
        .status_code
        == 303
    )  # nobody is logged in at that bench: to the login


def test_who_saw_a_piece_is_remembered_once_an_hour(app):
    client, shop = logged_in(app, "Technician"), app.state.shop
    serial = shop.book.jobs.pieces()[0].serial
    for _ in range(3):
        assert client.get(f"/story/{serial}").status_code == 200
    assert client.get("/search.xlsx?q=a").status_code == 200
    seen = shop.book.views.of(find_piece(shop, serial).id)
    assert [(r.by, r.what) for r in seen] == [("Technician", "story")]
    assert "Who looked at it" not in client.get(f"/story/{serial}").text
    assert "Who looked at it" in logged_in(app, "Owner").get(f"/story/{serial}").text
