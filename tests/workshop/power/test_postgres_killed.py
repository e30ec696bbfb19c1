"""PostgreSQL dies, or the line to it, at a statement of a shop's work: nothing is lost, nothing doubled."""

import contextlib

import pytest
from ledger.postgres import new_database, server
from workshop.power.a_day import KINDS
from workshop.power.striking import (
    cut_line,
    kill_server,
    lose_answer,
    on_database,
    striking,
)
from workshop.station.two_houses import recording

import heavyspot
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
    on_database(tmp_path, new_database(postgres, request.node.name))
    shop = Workshop(tmp_path)
    furnish(shop)
    shop.close()
    return tmp_path


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
    shop = Workshop(folder)
    with striking(postgres, shop, how, at) as count:
        marks = work(folder, shop)
    shop.close()
    again = Workshop(folder)
    once_each(again, marks, at)
    assert work(folder, again) == list(KINDS), at
    once_each(again, list(KINDS), at)
    again.close()
    return count[0] >= at


@pytest.mark.parametrize("at", [9, 60, 110])
@pytest.mark.parametrize("how", [cut_line, kill_server, lose_answer])
def test_struck_at_a_statement(postgres, folder, how, at):
    assert struck(postgres, folder, how, at)


@pytest.mark.prove
@pytest.mark.parametrize("at", range(1, LAST + 1))
@pytest.mark.parametrize("how", [cut_line, kill_server, lose_answer])
def test_struck_at_every_statement(postgres, folder, how, at):
    assert struck(postgres, folder, how, at) or at > LAST - 20


def test_these_are_all_statements(postgres, folder):
    assert not struck(postgres, folder, cut_line, LAST)
