"""A ledger of an earlier program is brought up to date by a step of its own: copied, all or nothing, proved."""

import contextlib
import os
import sqlite3
import sys
import threading

import pytest
from conftest import there
from ledger.old_ledger import make_old
from ledger.postgres import new_database, server
from sqlalchemy import Engine, create_engine, event, text

from heavyspot.ledger.book import Book
from heavyspot.ledger.exchange import upgrade as upgrade_module
from heavyspot.ledger.exchange.upgrade import upgrade_ledger
from heavyspot.ledger.store.schema import HEAD, all_or_nothing, migrate, open_engine
from heavyspot.quantities.errors import LedgerFault, OldLedger


@pytest.fixture(scope="module")
def postgres():
    with server() as url:
        yield url


@pytest.fixture(params=["sqlite", "postgresql"])
def url(request, tmp_path):
    if request.param == "sqlite":
        return f"sqlite:///{tmp_path / 'ledger.sqlite'}"
    return new_database(request.getfixturevalue("postgres"), request.node.name)


def schema(url):
    engine = create_engine(url)
    with engine.connect() as c:
        found = c.execute(text("select version_num from alembic_version")).scalar_one()
    engine.dispose()
    return found


def head(url):
    engine = create_engine(url)
    with engine.connect() as c:
        found = c.execute(text("select number, digest from chain order by number desc")).first()
    engine.dispose()
    return tuple(there(found))


def test_nothing_reads_an_old_ledger_and_changes_it(url, tmp_path):
    make_old(url, "0012")
    for _ in range(2):
        with pytest.raises(OldLedger, match="heavyspot upgrade"):
            Book(tmp_path, url)
    assert schema(url) == "0012"


@pytest.mark.parametrize("version", ["0004", "0012", "0019"])
def test_an_upgrade_is_copied_first_and_proved_by_its_links(url, tmp_path, version):
    make_old(url, version)
    before = head(url)
    said = []
    told = there(upgrade_ledger(url, tmp_path / "before", progress=lambda *a: said.append(a[0])))
    assert (told.from_schema, told.to_schema, told.faults) == (version, HEAD, ())
    assert (told.entries, told.head) == before == head(url)
    assert "reading back" in said and schema(url) == HEAD
    book = Book(tmp_path, url)
    assert list(book.check_chain()) == []
    book.close()
    # the copy is the ledger as it was, for the program of before
    (copy,) = (tmp_path / "before").iterdir()
    assert str(copy) == told.copy and copy.name.startswith(f"ledger-{version}-{before[1][:12]}")
    assert schema(f"sqlite:///{copy}") == version and head(f"sqlite:///{copy}") == before
    with contextlib.closing(sqlite3.connect(copy)) as c:
        assert c.execute("select serial from pieces").fetchall() == [("S-1",), ("S-2",)]
    assert copy.stat().st_mode & 0o077 == 0 or sys.platform == "win32"
    assert upgrade_ledger(url, tmp_path / "before") is None


def test_a_ledger_of_before_the_chain_gets_links_that_hold(url, tmp_path):
    make_old(url, "0003")
    told = there(upgrade_ledger(url, tmp_path / "before"))
    assert told.entries == 5
    book = Book(tmp_path, url)
    assert book.head()[0] == 5 and list(book.check_chain()) == []
    book.close()


def test_what_was_not_as_written_before_is_so_after_and_is_said(url, tmp_path):
    make_old(url, "0012")
    engine = create_engine(url)
    with engine.begin() as c:
        c.execute(text("update pieces set serial = 'S-9' where serial = 'S-1'"))
    engine.dispose()
    told = there(upgrade_ledger(url, tmp_path / "before"))
    assert [(b.kind, b.table) for b in told.faults] == [("changed", "pieces")]


def test_an_upgrade_that_changes_an_entry_is_undone(url, tmp_path, monkeypatch):
    make_old(url, "0012")
    before = head(url)

    def migrate_wrongly(c, to="head"):
        migrate(c, to)
        if to == "head":
            c.execute(text("update pieces set serial = 'S-9' where serial = 'S-1'"))

    monkeypatch.setattr(upgrade_module, "migrate", migrate_wrongly)
    with pytest.raises(LedgerFault, match="would not be what it was"):
        upgrade_ledger(url, tmp_path / "before")
    assert schema(url) == "0012" and head(url) == before
    monkeypatch.undo()
    assert there(upgrade_ledger(url, tmp_path / "before")).head == before[1]


def test_a_full_disk_changes_nothing(url, tmp_path):
    make_old(url, "0012")
    (tmp_path / "before").write_text("no folder")
    with pytest.raises(LedgerFault, match="could not be copied"):
        upgrade_ledger(url, tmp_path / "before")
    assert schema(url) == "0012"


def test_a_newer_ledger_names_the_program_that_made_it(url, tmp_path):
    make_old(url, "0012")
    upgrade_ledger(url, tmp_path / "before")
    engine = create_engine(url)
    with engine.begin() as c:
        c.execute(text("update alembic_version set version_num = '9999'"))
        c.execute(
            text(
                "insert into upgrades values ('2027', '9999', '0020', '7.5.1', 1, 'x', 'before/x')"
            )
        )
    engine.dispose()
    for asked in (lambda: Book(tmp_path, url), lambda: upgrade_ledger(url, tmp_path / "before")):
        with pytest.raises(LedgerFault, match=r"schema 9999.*7\.5\.1"):
            asked()


@pytest.mark.skipif(not hasattr(os, "fork"), reason="kills by fork")
@pytest.mark.parametrize("every", [67, pytest.param(3, marks=pytest.mark.prove)])
def test_killed_at_any_statement_it_is_old_or_new_and_goes_on(tmp_path, every):
    """SQLite: a process that is gone between two statements leaves one whole ledger, never half a schema."""
    made = tmp_path / "made.sqlite"
    make_old(f"sqlite:///{made}", "0012")
    before, n, killed = head(f"sqlite:///{made}"), 1, 0
    while True:
        folder = tmp_path / str(n)
        folder.mkdir()
        (folder / "ledger.sqlite").write_bytes(made.read_bytes())
        url = f"sqlite:///{folder / 'ledger.sqlite'}"
        if not _dies_at(n, url, folder):
            break
        killed += 1
        assert schema(url) in ("0012", HEAD) and head(url) == before
        told = upgrade_ledger(url, folder / "before")
        assert told is None or told.head == before[1]
        assert schema(url) == HEAD
        n += every
    assert killed > 5


def _dies_at(n, url, folder):
    """Upgrade in a process that dies before its nth statement; whether it came to that."""
    child = os.fork()
    if child == 0:
        count = iter(range(1, 1_000_000))

        def die(*_):
            if next(count) == n:
                os._exit(9)

        event.listen(Engine, "before_cursor_execute", die)
        try:
            upgrade_ledger(url, folder / "before")
        finally:
            os._exit(0)
    return os.waitstatus_to_exitcode(os.waitpid(child, 0)[1]) == 9


def test_half_a_first_start_leaves_an_empty_database(tmp_path, monkeypatch):
    """The tables of a new ledger come all at once: a start that was cut is simply started again."""
    url = f"sqlite:///{tmp_path / 'ledger.sqlite'}"
    with pytest.raises(RuntimeError, match="cut"), all_or_nothing(url) as c:
        migrate(c, "0009")
        raise RuntimeError("cut")
    with contextlib.closing(sqlite3.connect(tmp_path / "ledger.sqlite")) as c:
        assert c.execute("select count(*) from sqlite_master").fetchone() == (0,)
    open_engine(url).dispose()
    assert schema(url) == HEAD


def test_two_that_begin_at_once_make_one_ledger(url):
    """The second waits for the first one's tables, and finds them."""
    faults: list[BaseException] = []

    def begin():
        try:
            open_engine(url).dispose()
        except BaseException as fault:
            faults.append(fault)

    threads = [threading.Thread(target=begin) for _ in range(4)]
    for t in threads:
        t.start()
    for t in threads:
        t.join()
    assert faults == [] and schema(url) == HEAD
