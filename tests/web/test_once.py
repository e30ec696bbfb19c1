"""A write that is sent again is not done again: header, form, command; whatever is cut where."""

import contextlib
import json
import sqlite3
import threading

import pytest
from cli.test_contract import Shell
from fastapi.testclient import TestClient
from web.over_http import add, wait

from heavyspot.ledger.entries.old_book import OldBook
from heavyspot.ledger.store import once
from heavyspot.quantities.errors import BadInput, DoneBefore, LedgerAway
from heavyspot.web.app import create_app
from heavyspot.workshop.cartridge.story import cartridge_story
from heavyspot.workshop.job.pieces import add_piece
from heavyspot.workshop.old_book import bring as bring_module
from heavyspot.workshop.once import asked_once, digest_of

CUT = {"plane": "nut", "angle_deg": 30.0, "mass_mg": 5.0}


@pytest.fixture(scope="module")
def client(tmp_path_factory):
    app = create_app(tmp_path_factory.mktemp("once") / "data", demo=True, pace=40.0)
    with TestClient(app, base_url="http://127.0.0.1") as made:
        add(made, "O-1")
        made.post("/api/v1/bench/O-1/spin", json={})
        wait(made, "O-1")
        yield made


def cuts(client, serial="O-1"):
    return len(cartridge_story(client.app.state.shop, serial).made)


def send(client, key, body=CUT, path="/api/v1/pieces/O-1/cuts"):
    return client.post(path, json=body, headers={"Idempotency-Key": key})


def test_sent_twice_done_once_and_answered_the_same(client):
    before = cuts(client)
    first = send(client, "cut-1")
    again = send(client, "cut-1")
    assert first.status_code == again.status_code == 201 and first.content == again.content
    assert again.headers["idempotency-replayed"] == "true"
    assert cuts(client) == before + 1
    assert send(client, "cut-2").status_code == 201 and cuts(client) == before + 2


def test_a_key_for_something_else_is_refused(client):
    send(client, "mixed")
    before = cuts(client)
    other = send(client, "mixed", CUT | {"angle_deg": 31.0})
    assert other.status_code == 422 and "something else" in other.json()["detail"]
    assert (
        send(
            client, "mixed", {"kind": "note", "text": "x"}, "/api/v1/pieces/O-1/happenings"
        ).status_code
        == 422
    )
    assert cuts(client) == before
    for wrong in ("x" * 201, "\x01"):
        assert send(client, wrong).status_code == 422


def test_what_was_refused_may_be_sent_again(client):
    wrong = send(client, "late", CUT | {"plane": "nowhere"})
    assert wrong.status_code == 422
    assert send(client, "late").status_code == 201  # nothing was written under the key


def test_at_once_from_many_threads(client):
    before, told = cuts(client), []
    gate = threading.Barrier(6)

    def press():
        gate.wait()
        told.append(send(client, "at once"))

    threads = [threading.Thread(target=press) for _ in range(6)]
    for t in threads:
        t.start()
    for t in threads:
        t.join()
    assert cuts(client) == before + 1
    assert {t.status_code for t in told} == {201} and len({t.content for t in told}) == 1


def test_a_cut_between_writing_and_answering_doubles_nothing(client, monkeypatch):
    """The program dies when the ledger has it and nobody was told yet."""
    before = cuts(client)
    with monkeypatch.context() as m:
        m.setattr(once.Answers, "keep", lambda *_: None)
        assert send(client, "died").status_code == 201
    monkeypatch.setattr("heavyspot.web.once.PATIENCE_S", 0.2)
    again = send(client, "died")
    assert again.status_code == 409 and again.json()["code"] == "done-before"
    assert cuts(client) == before + 1


def test_the_bench_sends_one(client):
    """A form pressed twice, or sent again by the browser, with no script at all."""
    page = client.get("/pieces/O-1").text
    key = page.split('name="once" value="')[1].split('"')[0]
    form = {"plane": "nut", "angle_deg": "40", "depth_mm": "0.1", "once": key}
    before = cuts(client)
    for _ in range(3):
        answer = client.post("/bench/O-1/ground", data=form)
        assert answer.status_code == 200
    assert cuts(client) == before + 1
    client.post(
        "/bench/O-1/ground", data=form | {"angle_deg": "41"}
    )  # another thing from the same page
    assert cuts(client) == before + 2
    assert client.get("/bench/O-1").text.count('name="once"') >= 1


def test_keys_are_of_who_sends_them(tmp_path):
    app = create_app(tmp_path / "data", demo=True)
    people = app.state.people
    for name in ("Ida", "Jon"):
        people.set_user(name, "owner", "a sentence to remember")
    app.state.accounts_needed = True
    told = []
    for name in ("Ida", "Jon"):
        client = TestClient(app, base_url="http://127.0.0.1")
        client.cookies.set("heavyspot", people.log_in(name, "a sentence to remember"))
        csrf = people.who(client.cookies["heavyspot"]).csrf
        told.append(
            client.post(
                "/api/v1/pieces", json={"serial": f"K-{name}", "model": "Larch 52"},
                headers={"Idempotency-Key": "the same", "X-CSRF-Token": csrf},
            )
        )  # fmt: skip
    assert [t.status_code for t in told] == [201, 201]
    stranger = TestClient(app, base_url="http://127.0.0.1")
    got = stranger.post(
        "/api/v1/pieces", json={"serial": "K-Ida", "model": "Larch 52"},
        headers={"Idempotency-Key": "the same"},
    )  # fmt: skip
    assert got.status_code == 401


def test_a_command_under_a_name(tmp_path):
    shell = Shell(tmp_path)
    shell.run("demo", "--help")
    words = ("piece", "new", "--serial", "S-1", "--model", "Larch 52")
    with TestClient(create_app(tmp_path / "data", demo=True)):
        pass
    one = shell.run("--once", "monday", *words)
    again = shell.run("--once", "monday", *words)
    assert "S-1" in one.stdout and again.stdout == "" and "done before" in again.stderr
    other = shell.run("--once", "monday", *words[:3], "S-2", *words[4:], code=2)
    assert "something else" in other.stderr
    assert json.loads(shell.run("verify", "--json").stdout)["good"]


def test_in_python_all_of_it_or_none(client):
    shop = client.app.state.shop
    key, digest = digest_of("x"), digest_of("y")
    with asked_once(key, digest), pytest.raises(Exception, match="already"):
        add_piece(shop, "O-1", "Larch 52")  # refused: the key is not used up
    with asked_once(key, digest):
        add_piece(shop, "O-9", "Larch 52")
        add_piece(shop, "O-10", "Larch 52")  # several writes of one asking
    with asked_once(key, digest), pytest.raises(DoneBefore):
        add_piece(shop, "O-11", "Larch 52")
    with asked_once(key, digest_of("z")), pytest.raises(BadInput, match="something else"):
        add_piece(shop, "O-12", "Larch 52")
    add_piece(shop, "O-11", "Larch 52")


def test_a_command_of_many_writes_goes_on_where_it_was_cut(tmp_path, monkeypatch):
    """Cut between two writes, the same name does not say that all of it was done."""
    shell = Shell(tmp_path)
    rows = "".join(f"O-{n};Tidal Works\n" for n in range(30))
    (tmp_path / "old.csv").write_text("Serial;Customer\n" + rows)
    words = ("--once", "the old book", "bring", "old.csv")
    monkeypatch.setattr(bring_module, "BATCH", 10)
    kept: list[int] = []
    real = OldBook.add

    def cut(self, *args, **how):
        if len(kept) == 1:
            raise LedgerAway("The disk is full.", remedy="")
        kept.append(1)
        return real(self, *args, **how)

    with monkeypatch.context() as m:
        m.setattr(OldBook, "add", cut)
        shell.run(*words, code=4)
    assert shell.json("verify")["entries"] < 60
    shell.run(*words)
    entries = shell.json("verify")["entries"]
    with contextlib.closing(sqlite3.connect(tmp_path / "data/ledger.sqlite")) as c:
        assert c.execute("select count(*), count(distinct serial) from pieces").fetchone() == (
            30,
            30,
        )
    assert "30 were there already" in shell.run(*words).stdout
    assert shell.json("verify")["entries"] == entries
