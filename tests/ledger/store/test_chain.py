"""A changed, missing or foreign row is found and named; several writers make one chain."""

import sqlite3
import threading

import pytest
from loop.loop import model_of

from heavyspot.ledger.book import Book
from heavyspot.ledger.store.chain import FIRST


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
    from heavyspot.ledger.store.chain import add_links
    from heavyspot.ledger.store.tables import jobs, models, pieces

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
