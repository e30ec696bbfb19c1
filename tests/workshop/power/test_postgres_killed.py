"""PostgreSQL dies, or the line to it, at a statement of a shop's work: nothing is lost, nothing doubled."""

import contextlib
import json
import os
import signal
import subprocess
import time
from pathlib import Path

import pytest
from ledger.postgres import programs, server
from sqlalchemy import event, text
from workshop.power.a_day import KINDS
from workshop.station.two_houses import recording

import heavyspot
from heavyspot.ledger.store.schema import connected
from heavyspot.quantities.errors import DoneBefore, HeavyspotError
from heavyspot.workshop.demo.rigs import furnish
from heavyspot.workshop.job.build_record import tell
from heavyspot.workshop.job.story import whole_story
from heavyspot.workshop.once import asked_once, digest_of, first_answer
from heavyspot.workshop.sheets.issue import issue_sheet
from heavyspot.workshop.shop import Workshop

LAST = 150
"""Statements and commits of the work below, and some more."""


@pytest.fixture(scope="module")
def postgres():
    with server() as url:
        yield url


@pytest.fixture
def folder(postgres, tmp_path, request):
    """A data folder on a database of its own."""
    name = f"d{abs(hash(request.node.name))}"
    engine = connected(postgres)
    with engine.connect().execution_options(isolation_level="AUTOCOMMIT") as c:
        c.execute(text(f"create database {name}"))
    engine.dispose()
    url = postgres.replace("@/postgres?", f"@/{name}?")
    (tmp_path / "shop.toml").write_text(f"ledger_url = {json.dumps(url)}\n")
    shop = Workshop(tmp_path)
    furnish(shop)
    shop.close()
    return tmp_path


def cut_line(postgres, connection):
    """End the server's side of a connection."""
    pid = connection.connection.dbapi_connection.info.backend_pid
    engine = connected(postgres)
    with engine.connect() as c:
        c.execute(text("select pg_terminate_backend(:p, 5000)"), {"p": pid})
    engine.dispose()


def kill_server(postgres, connection):
    """Kill the server as the system does when memory ends, and start it again."""
    home = postgres.partition("host=")[2]
    pid = Path(home, "data/postmaster.pid").read_text().split()[0]
    os.kill(int(pid), signal.SIGKILL)
    options = f"-c listen_addresses='' -c fsync=off -k {home}"
    start = f'{programs()}/pg_ctl -D {home}/data -w -l {home}/log -o "{options}" start'
    words = ["su", "postgres", "-c", start] if os.geteuid() == 0 else ["sh", "-c", start]
    for _ in range(40):  # its own processes end a moment after it
        if subprocess.run(words, stdout=subprocess.DEVNULL, cwd="/", check=False).returncode == 0:
            return
        time.sleep(0.25)
    raise AssertionError("PostgreSQL did not start again")


def work(folder, shop):
    """The steps of a piece; returns what was acknowledged."""
    steps = {
        "piece": lambda: heavyspot.add_piece(shop, "D-1", "Larch 52", customer="Tidal Works"),
        "run": lambda: heavyspot.spin(shop, "D-1", recording(1)),
        "cut": lambda: heavyspot.ground(shop, "D-1", "nut", 30.0, mass_mg=5.0),
        "sheet": lambda: issue_sheet(shop, "D-1", folder / "last.pdf"),
        "note": lambda: tell(shop, "D-1", "note", "as agreed"),
    }
    marks = []
    for name, do in steps.items():
        key = digest_of("day", name), digest_of(name)
        with contextlib.suppress(
            DoneBefore, HeavyspotError
        ):  # said; any other fault fails the test
            if first_answer(shop, *key) is None:
                with asked_once(*key):
                    do()
            marks.append(name)
    return marks


def once_each(shop, marks, where):
    assert list(shop.book.check_chain()) == [], where
    there = {p.serial for p in shop.book.jobs.pieces()}
    kinds = [e.kind for e in whole_story(shop, "D-1")] if "D-1" in there else []
    for what, kind in KINDS.items():
        assert kinds.count(kind) <= 1 and (what not in marks or kinds.count(kind) == 1), (
            where,
            what,
        )


def struck(postgres, folder, how, at):
    """Strike before a statement, and before the commit that comes next; returns whether it came so far."""
    shop, count = Workshop(folder), [0]

    def strike(connection, *_):
        count[0] += 1
        if count[0] == at:
            how(postgres, connection)

    event.listen(shop.book._engine, "before_cursor_execute", strike)
    event.listen(shop.book._engine, "commit", strike)
    marks = work(folder, shop)
    event.remove(shop.book._engine, "before_cursor_execute", strike)
    event.remove(shop.book._engine, "commit", strike)
    shop.close()
    again = Workshop(folder)
    once_each(again, marks, at)
    assert work(folder, again) == list(KINDS), at
    once_each(again, list(KINDS), at)
    again.close()
    return count[0] >= at


@pytest.mark.parametrize("at", [9, 60, 110])
@pytest.mark.parametrize("how", [cut_line, kill_server])
def test_struck_at_a_statement(postgres, folder, how, at):
    assert struck(postgres, folder, how, at)


@pytest.mark.prove
@pytest.mark.parametrize("at", range(1, LAST + 1))
@pytest.mark.parametrize("how", [cut_line, kill_server])
def test_struck_at_every_statement(postgres, folder, how, at):
    assert struck(postgres, folder, how, at) or at > LAST - 20


def test_these_are_all_statements(postgres, folder):
    assert not struck(postgres, folder, cut_line, LAST)
