"""A changed, missing or foreign row is found and named; several writers make one chain."""

import hashlib
import json
import sqlite3
import threading
from types import SimpleNamespace
from typing import cast

import pytest
from loop.loop import model_of
from sqlalchemy import Connection

from heavyspot.ledger.book import Book
from heavyspot.ledger.store import chain as chain_module
from heavyspot.ledger.store.chain import (
    FIRST,
    UNCHAINED,
    Broken,
    add_links,
    link_digest,
    lock_chain,
    rows_by_id,
)
from heavyspot.ledger.store.tables import jobs, metadata, models, pieces


@pytest.fixture
def book(tmp_path):
    made = Book(tmp_path)
    made.models.add(
        "Larch 52", model_of("Larch 52", 150_000.0, 52.0).model_dump(mode="json"), by="Ida"
    )
    for n in range(6):
        made.jobs.add_piece(f"S-{n}", "Larch 52", customer="Tidal Works", by="Ida")
    yield made
    made.close()


def tamper(book, *statements):
    with sqlite3.connect(book.folder / "ledger.sqlite") as c:
        for s in statements:
            c.execute(s)


def faults(book):
    return [(b.kind, b.table, b.number) for b in book.check_chain()]


def test_an_untouched_ledger_is_whole(book):
    seen = []
    assert list(book.check_chain(progress=lambda done, total: seen.append((done, total)))) == []
    number, digest = book.head()
    assert number == 1 + 2 * 6 and seen[-1] == (number, number)
    assert book.has_link(digest) and book.has_link(FIRST) and not book.has_link("f" * 64)


def test_a_changed_row_is_named(book):
    tamper(book, "update pieces set serial = 'X' where serial = 'S-2'")
    (broken,) = book.check_chain()
    assert (broken.kind, broken.table) == ("changed", "pieces")
    assert broken.entry_id in broken.words()


def test_one_byte_of_a_json_column_is_enough(book):
    tamper(book, "update models set content = replace(content, '150000', '150001')")
    assert faults(book) == [("changed", "models", 1)]


def test_a_removed_row_is_named(book):
    tamper(book, "pragma foreign_keys=off", "delete from pieces where serial = 'S-3'")
    assert [f[:2] for f in faults(book)] == [("missing", "pieces")]


def test_a_row_put_in_by_hand_is_named(book):
    tamper(
        book,
        "insert into jobs (id, at, by, why, customer, invoice, due, note)"
        " values ('x', '2026', '', '', 'Nobody', '', '', '')",
    )
    assert faults(book) == [("foreign", "jobs", 0)]


def test_a_removed_link_is_named(book):
    tamper(book, "delete from chain where number = 4")
    assert ("link", "", 4) in faults(book)


def test_a_chain_made_anew_does_not_hold_the_old_links(book):
    """Who rewrites history makes all later links anew; a sheet still holds an old one."""
    _, on_the_sheet = book.head()
    tamper(book, "update pieces set serial = 'X' where serial = 'S-0'", "delete from chain")

    with book._engine.begin() as c:
        for table in (models, jobs, pieces):
            for row in c.execute(table.select().order_by(table.c.id)).all():
                add_links(c, table, [row.id])
    assert faults(book) == []
    assert not book.has_link(on_the_sheet)


def test_several_writers_make_one_chain(book):
    def write(k):
        for n in range(15):
            book.jobs.add_piece(f"W-{k}-{n}", "Larch 52", by=f"writer {k}")

    threads = [threading.Thread(target=write, args=(k,)) for k in range(4)]
    for t in threads:
        t.start()
    for t in threads:
        t.join()
    assert faults(book) == []
    assert book.head()[0] == 13 + 2 * 60


def sha256(text):
    return hashlib.sha256(text.encode()).hexdigest()


def test_a_link_is_the_digest_of_the_one_before_and_of_the_row_as_stored(book):
    """Made anew from the file itself, with the two libraries of the definition: SHA-256 and JSON."""
    with sqlite3.connect(book.folder / "ledger.sqlite") as c:
        c.row_factory = sqlite3.Row
        links = c.execute("select * from chain order by number").fetchall()
        assert [link["number"] for link in links] == list(range(1, 14))
        before = "0" * 64
        for link in links:
            if (
                link["of_table"] == "jobs"
            ):  # of texts alone, so that what is stored needs no reading
                row = dict(
                    c.execute("select * from jobs where id = ?", (link["entry_id"],)).fetchone()
                )
                told = json.dumps(row, sort_keys=True, separators=(",", ":"), ensure_ascii=False)
                assert link["digest"] == sha256(f"{before}\njobs\n{told}")
            before = link["digest"]
    assert book.head() == (13, before)


def test_bytes_stand_in_a_link_by_their_digest():
    told = sha256(
        'b\nt\n{"name":"größer","photo":"sha256 ' + hashlib.sha256(b"xyz").hexdigest() + '"}'
    )
    for photo in (b"xyz", memoryview(b"xyz")):
        assert link_digest("b", "t", {"photo": photo, "name": "größer"}) == told


def test_an_empty_column_that_came_later_is_not_in_older_links():
    old = link_digest("b", "cuts", {"id": "1", "why": None})
    assert link_digest("b", "cuts", {"id": "1", "why": None, "never_made": None}) == old
    assert link_digest("b", "cuts", {"id": "1", "why": None, "never_made": False}) != old
    assert link_digest("b", "cuts", {"id": "1"}) != old
    assert link_digest("b", "runs", {"id": "1", "never_made": None}) != link_digest(
        "b", "runs", {"id": "1"}
    )


@pytest.mark.parametrize("batch", [1, 4, 12, 13, 14])
def test_a_chain_longer_than_a_batch_is_walked_to_its_end(book, batch, monkeypatch):
    monkeypatch.setattr(chain_module, "BATCH", batch)
    seen = []
    assert list(book.check_chain(progress=lambda *at: seen.append(at))) == []
    whole = [(min(done, 13), 13) for done in range(batch, 13 + batch, batch)]
    assert seen == whole
    # pieces are the links 3, 5, ... 13, each after its job; the last of a batch and the first of the next, too
    with sqlite3.connect(book.folder / "ledger.sqlite") as c:
        links = dict(c.execute("select number, entry_id from chain"))
    tamper(book, "update pieces set serial = serial || 'X'")
    assert [(b.kind, b.table, b.number, b.entry_id) for b in book.check_chain()] == [
        ("changed", "pieces", n, links[n]) for n in range(3, 14, 2)
    ]
    tamper(book, "delete from chain where number in (4, 5, 12)")
    missing = [b.number for b in book.check_chain() if b.kind == "link"]
    assert missing == [4, 5, 12]


def test_more_rows_of_a_table_than_one_question_asks_for(book):
    rows = [
        {"id": f"{n:04}", "at": "2026", "by": "", "why": "", "customer": f"C {n}", "invoice": "", "due": "",
         "note": ""}
        for n in range(1203)
    ]  # fmt: skip
    ids = [row["id"] for row in rows]
    with book._engine.begin() as c:
        lock_chain(c)
        c.execute(jobs.insert(), rows)
        add_links(c, jobs, ids)
        assert {i: r["customer"] for i, r in rows_by_id(c, jobs, ids).items()} == {
            row["id"]: row["customer"] for row in rows
        }
        assert rows_by_id(c, jobs, []) == {} and rows_by_id(c, jobs, ["x"]) == {}
    assert faults(book) == [] and book.head()[0] == 13 + 1203
    tamper(
        book,
        "update jobs set customer = 'X' where id in ('0000', '0499', '0500', '0999', '1000', '1202')",
    )
    assert [n for _, _, n in faults(book)] == [14 + n for n in (0, 499, 500, 999, 1000, 1202)]


def test_what_is_no_entry_has_no_link(book):
    with book._engine.begin() as c:
        add_links(c, metadata.tables["logins"], ["x"])
    assert book.head()[0] == 13
    assert {"jobs", "pieces", "runs", "cuts", "sheets"}.isdisjoint(UNCHAINED)


def test_an_empty_ledger_has_a_chain_of_no_links(tmp_path):
    empty = Book(tmp_path)
    try:
        assert empty.head() == (0, "0" * 64) and empty.has_link("0" * 64) and faults(empty) == []
    finally:
        empty.close()


def test_a_writer_that_holds_the_chain_keeps_others_waiting(book):
    with book._engine.begin() as c:
        lock_chain(c)
        other = sqlite3.connect(book.folder / "ledger.sqlite", timeout=0)
        with pytest.raises(sqlite3.OperationalError, match="locked"):
            other.execute("delete from chain where number < 0")
        other.close()
    assert book.head()[0] == 13  # and the lock takes no link away


def test_on_a_server_all_writers_ask_for_one_lock():
    asked = []
    server = SimpleNamespace(
        dialect=SimpleNamespace(name="postgresql"),
        execute=lambda q, told: asked.append((str(q), told)),
    )
    for _ in range(2):
        lock_chain(cast(Connection, server))
    (one, told), again = asked
    assert one == "select pg_advisory_xact_lock(:key)" and (one, told) == again
    assert isinstance(told["key"], int)


def test_what_is_broken_is_said_in_words():
    said = {
        k: Broken(k, "pieces", "P-1", 7).words() for k in ("changed", "missing", "foreign", "link")
    }
    assert said == {
        "changed": "pieces P-1 was changed after it was written (link 7).",
        "missing": "pieces P-1 is missing (link 7).",
        "foreign": "pieces P-1 was not written by the program.",
        "link": "Link 7 of the chain is missing.",
    }
