"""A check that was stopped goes on where it came to, claims nothing it did not read, and is fooled by no mark."""

import json
import os
import signal
import sqlite3
import subprocess
import sys
import time
from dataclasses import asdict
from datetime import datetime, timedelta
from types import SimpleNamespace

import pytest
from ledger.postgres import server
from loop.loop import model_of
from sqlalchemy import text
from typer.testing import CliRunner

from heavyspot._version import __version__
from heavyspot.cli.main import app
from heavyspot.ledger import trail as trail_module
from heavyspot.ledger.book import Book
from heavyspot.ledger.entries.old_book import OldRow
from heavyspot.ledger.store import chain as chain_module
from heavyspot.ledger.store.schema import connected
from heavyspot.ledger.trail import Mark, Trail
from heavyspot.quantities import durable
from heavyspot.quantities.clock import now
from heavyspot.workshop.keep import marks as marks_module
from heavyspot.workshop.keep.marks import NAME

LINKS, BATCH = 41, 10
"""Of the ledger below, a model and twenty pieces with a job each; read so many at a time."""


@pytest.fixture
def shop(tmp_path, monkeypatch):
    monkeypatch.setattr(chain_module, "BATCH", BATCH)
    book = Book(tmp_path)
    book.models.add("Larch 52", model_of("Larch 52", 150_000.0, 52.0).model_dump(mode="json"))
    for n in range(20):
        book.jobs.add_piece(f"S-{n}", "Larch 52", customer="Tidal Works", by="Ida")
    assert book.head()[0] == LINKS
    book.close()
    return tmp_path


def verify(folder, *options):
    """Return exit code, the JSON document, and what was said beside it."""
    done = CliRunner().invoke(app, ["--data", str(folder), "verify", "--json", *options])
    return done.exit_code, json.loads(done.stdout) if done.stdout else None, done.stderr


def stopped(folder, monkeypatch, *, at=2 * BATCH, reading="_rows_of"):
    """Stop a check as Ctrl-C does, before the batch behind a link is read."""
    real, seen = getattr(chain_module, reading), []

    def read(c, tables, links):
        if links[0].number > at:
            seen.append(links[0].number)
            raise KeyboardInterrupt
        return real(c, tables, links)

    with monkeypatch.context() as m:
        m.setattr(chain_module, reading, read)
        code, told, said = verify(folder)
    assert seen and code != 0 and told is None, (code, told)
    return said


def read_links(folder, monkeypatch, *options):
    """Return what a check tells, and the links whose entries it read."""
    links_read: list[int] = []
    real = chain_module._rows_of

    def read(c, tables, links):
        links_read.extend(link.number for link in links)
        return real(c, tables, links)

    with monkeypatch.context() as m:
        m.setattr(chain_module, "_rows_of", read)
        return *verify(folder, *options), links_read


def tamper(folder, *statements):
    with sqlite3.connect(folder / "ledger.sqlite") as c:
        for one in statements:
            c.execute(one)


def test_it_goes_on_and_says_what_it_did_not_read(shop, monkeypatch):
    assert "goes on there" in stopped(shop, monkeypatch)
    code, told, said, links = read_links(shop, monkeypatch)
    assert (code, links) == (0, list(range(21, LINKS + 1))), told
    assert "Going on from entries 21" in said and "--anew" in said
    assert told["read_earlier"]["chain"]["number"] == 20
    assert not (shop / NAME).exists()  # it came to its end: the next one reads all
    code, told, said, links = read_links(shop, monkeypatch)
    assert (code, links, told["read_earlier"], said) == (0, list(range(1, LINKS + 1)), {}, "")


def test_its_words_claim_no_more_than_was_read(shop, monkeypatch):
    stopped(shop, monkeypatch)
    words = CliRunner().invoke(app, ["--data", str(shop), "verify"]).stdout
    assert "as it was written" not in words
    assert "not all was read now" in words and "entries 1 to 20 were read from" in words
    assert "as it was written" in CliRunner().invoke(app, ["--data", str(shop), "verify"]).stdout


def test_what_is_written_meanwhile_is_not_said_to_be_read(shop, monkeypatch):
    """A server goes on writing while the index is compared: the newest link said is one that was read."""
    head = verify(shop)[1]["head"]
    from heavyspot.workshop.keep import ledger_state

    real = ledger_state.check_index

    def compared(open_shop, *args):
        other = Book(shop)
        other.jobs.add_piece("S-later", "Larch 52", by="Ida")
        other.close()
        return real(open_shop, *args)

    monkeypatch.setattr(ledger_state, "check_index", compared)
    told = verify(shop)[1]
    assert (told["entries"], told["head"]) == (LINKS, head)


def test_anew_reads_all(shop, monkeypatch):
    stopped(shop, monkeypatch)
    code, told, said, links = read_links(shop, monkeypatch, "--anew")
    assert (code, links, told["read_earlier"], said) == (0, list(range(1, LINKS + 1)), {}, "")


def test_a_fault_before_the_mark_is_found_by_the_next_run_too(shop, monkeypatch):
    tamper(shop, "update pieces set serial = 'X' where serial = 'S-3'")  # link 9
    stopped(shop, monkeypatch)
    assert json.loads((shop / NAME).read_text())["parts"]["chain"]["number"] == 8
    code, told, _ = verify(shop)
    assert code == 1 and [(b["kind"], b["link"]) for b in told["broken"]][:1] == [("changed", 9)]


@pytest.mark.parametrize(
    "change",
    [
        "update chain set digest = '{f}' where number = 5",
        "update chain set entry_id = 'x' where number = 5",
        "update chain set of_table = 'models' where number = 5",
        "delete from chain where number = 5",
        "delete from chain where number > 15",
        "delete from chain where number = 20",
        "delete from chain",
    ],
)
def test_a_mark_over_other_links_is_not_heeded(shop, monkeypatch, change):
    stopped(shop, monkeypatch)
    tamper(shop, change.format(f="f" * 64))
    code, told, said = verify(shop)
    assert code == 1 and told["broken"] and told["read_earlier"].keys() <= {"index"}
    assert "all are read" in said


def test_an_entry_changed_behind_the_mark_is_not_called_whole(shop, monkeypatch):
    """No mark can know it: then the words must not, and a run anew finds it."""
    stopped(shop, monkeypatch)
    tamper(
        shop, "update jobs set note = 'X' where id = (select entry_id from chain where number = 4)"
    )
    _, told, _ = verify(shop)
    assert told["read_earlier"]["chain"]["number"] == 20
    assert [b["link"] for b in verify(shop, "--anew")[1]["broken"]][:1] == [4]


def altered(part, **fields):
    return {"program": __version__, "parts": {"chain": part | fields}}


@pytest.mark.parametrize(
    "of",
    [
        lambda m: altered(m, number=21),
        lambda m: altered(m, number=10**12),
        lambda m: altered(m, number=-1),
        lambda m: altered(m, number="20"),
        lambda m: altered(m, number=None),
        lambda m: altered(m, digest="f" * 64),
        lambda m: altered(m, digest=None),
        lambda m: altered(m, began="yesterday"),
        lambda m: altered(m, began="2999-01-01T00:00:00.000Z", at="2999-01-01T00:00:00.000Z"),
        lambda m: altered(m, began="2026-01-01T00:00:00.000Z"),
        lambda m: altered(m, began="2026-11-27"),
        lambda m: altered(m, began=m["at"], at="2001-01-01T00:00:00.000Z"),
        lambda m: altered(m, more=1),
        lambda m: altered(m) | {"program": "0.0"},
        lambda m: {"program": __version__, "parts": [m]},
        lambda m: {"program": __version__, "parts": {"chain": 3}},
        lambda m: [],
        lambda m: None,
    ],
)  # fmt: skip
def test_a_mark_that_says_anything_else_is_not_heeded(shop, monkeypatch, of):
    stopped(shop, monkeypatch)
    mark = json.loads((shop / NAME).read_text())["parts"]["chain"]
    (shop / NAME).write_text(json.dumps(of(mark)))
    code, told, _, links = read_links(shop, monkeypatch)
    assert (code, links, told["read_earlier"]) == (0, list(range(1, LINKS + 1)), {})


@pytest.mark.parametrize("content", [b"", b"\xff\xfe\0", b'{"program"', b"[" * 100_000])
def test_a_mark_cut_off_by_a_power_cut_is_none(shop, content):
    (shop / NAME).write_bytes(content)
    assert verify(shop)[1]["read_earlier"] == {}


def test_a_week_later_it_is_read_again(shop, monkeypatch):
    stopped(shop, monkeypatch)
    monkeypatch.setattr(marks_module, "now", lambda: now() + timedelta(days=6.9))
    before = (shop / NAME).read_bytes()
    assert verify(shop)[1]["read_earlier"]
    (shop / NAME).write_bytes(before)
    monkeypatch.setattr(marks_module, "now", lambda: now() + timedelta(days=7.1))
    assert verify(shop)[1]["read_earlier"] == {}


def test_stopped_twice_it_still_says_since_when(shop, monkeypatch):
    stopped(shop, monkeypatch)
    first = json.loads((shop / NAME).read_text())["parts"]["chain"]
    time.sleep(0.01)
    stopped(shop, monkeypatch, at=3 * BATCH)
    second = json.loads((shop / NAME).read_text())["parts"]["chain"]
    assert (first["number"], second["number"]) == (20, 30)
    assert second["began"] == first["began"] and second["at"] > first["at"]


def test_the_other_parts_go_on_too(shop, monkeypatch):
    (shop / "papers").mkdir(exist_ok=True)
    from heavyspot.workshop.job.documents import attach
    from heavyspot.workshop.shop import Workshop

    with Workshop(shop) as opened:
        for n in range(4):
            attach(opened, f"S-{n}", f"{n}.txt", f"paper {n}".encode(), by="Ida")
    from heavyspot.ledger.store.archive import Archive

    read: list[str] = []
    real = Archive.fault

    def fault(self, name, digest):
        if len(read) == 2:
            raise KeyboardInterrupt
        read.append(name)
        return real(self, name, digest)

    with monkeypatch.context() as m:
        m.setattr(Archive, "fault", fault)
        assert verify(shop, "--recordings")[1] is None
    code, told, said = verify(shop, "--recordings")
    assert code == 0 and "Going on from files 3" in said
    assert {k: v["number"] for k, v in told["read_earlier"].items()} == {
        "chain": LINKS + 4, "index": 20, "recordings": 2,
    }  # fmt: skip


def test_an_answer_about_the_chain_forgets_no_recordings(shop, monkeypatch):
    marks = marks_module.Marks(shop)
    for part in ("chain", "recordings"):
        with marks.trail(part) as trail:
            trail.passed("one")
    marks.end("chain", "index")
    assert list(json.loads((shop / NAME).read_text())["parts"]) == ["recordings"]


def test_a_folder_that_takes_no_mark_is_still_read(shop, monkeypatch):
    def refuse(*_, **__):
        raise PermissionError(13, "Permission denied")

    monkeypatch.setattr(durable, "write_text", refuse)
    stopped(shop, monkeypatch)
    assert verify(shop)[1]["read_earlier"] == {}


def test_two_lists_are_not_spelled_the_same():
    kept: list[Mark] = []
    for names in (["ab", "c"], ["a", "bc"], ["abc"]):
        trail = Trail(None, kept.append)
        for name in names:
            trail.passed(name)
        trail.leave()
    assert len({m.digest for m in kept}) == 3
    asked: list[Mark | None] = []
    assert Trail(kept[0], tell=asked.append).skip(["a", "bc", "d"]) == 0 and asked == [None]
    assert Trail(kept[0], tell=asked.append).skip(["ab", "c", "d"]) == 2 and asked[1:] == [kept[0]]
    assert datetime.fromisoformat(asdict(kept[0])["began"])


def test_a_mark_is_kept_on_the_way(monkeypatch):
    """What kills a program asks it nothing: the mark of at most two seconds ago must be there."""
    kept: list[Mark] = []
    clock = iter(range(100))
    ticking = SimpleNamespace(monotonic=lambda: float(next(clock)))
    monkeypatch.setattr(trail_module, "time", ticking)
    trail = Trail(None, kept.append)
    for n in range(6):
        trail.passed(str(n))
    # begun at 0 s, asked the time once a thing and once a mark: at 2, 5 and 8 s
    assert [m.number for m in kept] == [2, 4, 6]


def test_on_postgresql_too(tmp_path, monkeypatch):
    monkeypatch.setattr(chain_module, "BATCH", BATCH)
    with server() as url:
        (tmp_path / "shop.toml").write_text(f"ledger_url = {json.dumps(url)}\n")
        book = Book(tmp_path, url)
        for n in range(20):
            book.jobs.add_piece(f"S-{n}", "Larch 52", customer="Tidal Works", by="Ida")
        book.close()
        stopped(tmp_path, monkeypatch)
        _, told, said, links = read_links(tmp_path, monkeypatch)
        assert told["good"] and links == list(range(21, 41)) and "Going on from entries 21" in said
        stopped(tmp_path, monkeypatch)
        engine = connected(url)
        with engine.begin() as c:
            c.execute(text("update chain set digest = :f where number = 5"), {"f": "f" * 64})
        engine.dispose()
        _, told, said = verify(tmp_path)
        assert not told["good"] and "all are read" in said


@pytest.fixture(scope="module")
def large(tmp_path_factory):
    """A ledger whose index takes some seconds to compare."""
    folder = tmp_path_factory.mktemp("large")
    book = Book(folder)
    rows = [
        OldRow(f"{n:064}", f"S-{n}", "Larch 52", "", f"{n}", "", "2020-01-02",
               {"file": "a", "line": n, "cells": {}, "verdict": "", "date": "2020-01-02", "customer": ""})
        for n in range(2_500)
    ]  # fmt: skip
    book.old_book.add(rows, by="Ida")
    book.close()
    return folder


@pytest.mark.parametrize("how", [signal.SIGINT, signal.SIGKILL])
@pytest.mark.skipif(os.name == "nt", reason="there a process gets no such signals")
def test_killed_it_goes_on(large, how):
    command = [sys.executable, "-m", "heavyspot", "--data", str(large), "verify"]
    (large / NAME).unlink(missing_ok=True)
    running = subprocess.Popen(command, stderr=subprocess.PIPE, stdout=subprocess.PIPE, text=True)
    until = time.monotonic() + 60
    while not (large / NAME).exists() or "index" not in (large / NAME).read_text():
        assert running.poll() is None and time.monotonic() < until
        time.sleep(0.05)
    running.send_signal(how)
    out, said = running.communicate(timeout=60)
    assert out == "" and running.returncode != 0
    assert ("goes on there" in said) == (how == signal.SIGINT)
    parts = json.loads((large / NAME).read_text())["parts"]
    assert parts["chain"]["number"] == 3 * 2_500 and 0 < parts["index"]["number"] < 2_500
    again = subprocess.run([*command, "--json"], capture_output=True, text=True, check=True)
    assert json.loads(again.stdout)["read_earlier"] == parts
    assert f"Going on from lines of the index {parts['index']['number'] + 1:,}" in again.stderr
