"""Lists by cursor: nothing twice and nothing missed while others write, odd clocks and identifiers too."""

import threading

import pytest
from fastapi.testclient import TestClient

from heavyspot.ledger.records import Job
from heavyspot.web.app import create_app
from heavyspot.workshop.job.editing import Member, add_job

MANY = 3000


@pytest.fixture(scope="module")
def app(tmp_path_factory):
    made = create_app(tmp_path_factory.mktemp("pages") / "data", demo=True)
    for at in range(0, MANY, 100):
        members = [Member(f"N-{n}", "Larch 52", "") for n in range(at, at + 100)]
        add_job(made.state.shop, members, customer=f"Customer {at}")
    with TestClient(made, base_url="http://127.0.0.1"):
        yield made


@pytest.fixture(scope="module")
def client(app):
    return TestClient(app, base_url="http://127.0.0.1")


def walk(client, of, limit, order, between=lambda: None, cursor=""):
    """Return every line, page by page, and the place where it ended."""
    found = []
    while True:
        ask = {"limit": limit, "order": order, "cursor": cursor}
        answer = client.get(f"/api/v1/{of}", params=ask)
        assert answer.status_code == 200, answer.text
        page = answer.json()
        assert len(page["items"]) <= limit
        found += page["items"]
        if page["next"] is None:
            return found, page["since"]
        cursor = page["next"]
        between()


class Writer(threading.Thread):
    """Writes pieces as fast as it can until it is stopped."""

    def __init__(self, shop, name):
        super().__init__()
        self.shop, self.mark, self.made, self.over = shop, name, [], threading.Event()

    def run(self):
        while not self.over.is_set():
            serial = f"{self.mark}-{len(self.made)}"
            add_job(self.shop, [Member(serial, "Larch 52", "")], customer="Meanwhile")
            self.made.append(serial)

    def __enter__(self):
        self.start()
        return self

    def __exit__(self, *_):
        self.over.set()
        self.join()


def test_thousands_of_pieces_newest_first_while_others_come(app, client):
    before = {f"N-{n}" for n in range(MANY)}
    with Writer(app.state.shop, "W") as writer:
        found, _ = walk(client, "pieces", 97, "newest")
    serials = [p["serial"] for p in found]
    assert writer.made, "nothing came meanwhile: the test showed nothing"
    assert len(serials) == len(set(serials)) and before <= set(serials)


def test_the_oldest_first_also_gives_what_came_meanwhile(app, client):
    with Writer(app.state.shop, "X") as writer:
        found, since = walk(client, "pieces", 211, "oldest")
    rest, since = walk(client, "pieces", 211, "oldest", cursor=since)
    serials = [p["serial"] for p in [*found, *rest]]
    assert len(serials) == len(set(serials))
    assert set(serials) >= {f"N-{n}" for n in range(MANY)} | set(writer.made)
    assert serials[:3] == ["N-0", "N-1", "N-2"]
    again = client.get("/api/v1/pieces", params={"order": "oldest", "cursor": since}).json()
    assert again["items"] == [] and again["since"] == since  # nothing new: the place stays


def test_a_piece_that_arrives_with_an_older_identifier_is_not_missed(app, client):
    """Another building made it before: its identifier sorts in front of all, its link behind."""
    shop = app.state.shop
    _, since = walk(client, "jobs", 1000, "oldest")
    old = Job(
        id="00000000-0000-7000-8000-000000000001", at="2001-01-01T00:00:00.000Z", customer="East"
    )
    shop.book.jobs.add_job(old, [("E-1", "Larch 52", "")])
    rest, _ = walk(client, "jobs", 1000, "oldest", cursor=since)
    assert [j["customer"] for j in rest] == ["East"]


def test_an_amended_job_keeps_its_place_and_says_what_it_is_now(client):
    found, _ = walk(client, "jobs", 7, "oldest")
    job = found[3]["id"]
    change = {"changes": {"customer": "Gull Marine"}, "why": "was wrong"}
    client.patch(f"/api/v1/jobs/{job}", json=change)
    anew, _ = walk(client, "jobs", 7, "oldest")
    assert [j["id"] for j in anew[: len(found)]] == [j["id"] for j in found]
    assert anew[3]["customer"] == "Gull Marine"


@pytest.mark.parametrize("other", [("jobs", "newest"), ("pieces", "oldest")])
def test_a_cursor_of_another_list_is_refused(client, other):
    cursor = client.get("/api/v1/pieces", params={"limit": 5, "order": "newest"}).json()["next"]
    answer = client.get(f"/api/v1/{other[0]}", params={"order": other[1], "cursor": cursor})
    assert answer.status_code == 422 and answer.json()["code"] == "bad-input"


def test_a_cursor_from_before_a_restored_backup_is_noticed(client, tmp_path):
    """After a restore the same numbers are given again to other entries: silence would miss some."""
    cursor = client.get("/api/v1/pieces", params={"order": "oldest"}).json()["since"]
    with TestClient(create_app(tmp_path / "data", demo=True), base_url="http://127.0.0.1") as other:
        for n in range(250):
            other.post("/api/v1/pieces", json={"serial": f"B-{n}", "model": "Larch 52"})
        answer = other.get("/api/v1/pieces", params={"order": "oldest", "cursor": cursor})
    assert answer.status_code == 409 and answer.json()["code"] == "stale"
