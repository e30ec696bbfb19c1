"""PostgreSQL dies, or the line to it, while the old book comes in or two buildings exchange: all is there, once.

In the normal run at some of the statements; under `prove` at every one.
"""

import csv
from collections import Counter

import pytest
from ledger.postgres import new_database, server
from sqlalchemy import select
from workshop.power.striking import (
    cut_line,
    kill_server,
    lose_answer,
    on_database,
    striking,
)
from workshop.station.two_houses import TwoHouses, spun

import heavyspot
from heavyspot.ledger.store.chain import OF_ONE_STORE
from heavyspot.ledger.store.tables import chain, old_rows
from heavyspot.quantities.errors import HeavyspotError, LedgerAway
from heavyspot.sources.loose_table import open_table
from heavyspot.workshop.demo.rigs import furnish
from heavyspot.workshop.job.story import whole_story
from heavyspot.workshop.keep.ledger_state import check_index
from heavyspot.workshop.keep.retention import check_recordings
from heavyspot.workshop.old_book import bring
from heavyspot.workshop.shop import Workshop
from heavyspot.workshop.station.station import exchange

ROWS, BATCH = 25, 8
"""Of the old book, and how many are written at once; every fifth row tells of a piece told of before."""

HOWS = pytest.mark.parametrize("how", [cut_line, kill_server, lose_answer])


@pytest.fixture(scope="module")
def postgres():
    with server() as url:
        yield url


@pytest.fixture
def named(postgres, request):
    """Give a database by a name."""
    return lambda name: new_database(postgres, request.node.name + name)


# --- the old book ----------------------------------------------------------------------------------------


@pytest.fixture
def folder(named, tmp_path, monkeypatch):
    monkeypatch.setattr(bring, "BATCH", BATCH)
    (tmp_path / "data").mkdir()
    on_database(tmp_path / "data", named("book"))
    with (tmp_path / "old.csv").open("w", newline="") as file:
        rows = [
            [f"2011-03-{n + 1:02}", f"O-{n - n % 5 * (n % 5 == 4)}", f"11-{n // 3}"]
            for n in range(ROWS)
        ]
        csv.writer(file).writerows([["Date", "Serial", "Invoice"], *rows])
    Workshop(tmp_path / "data").close()
    return tmp_path


def brought(folder, shop):
    """Bring the book in; returns how many rows were said to be done, and what was said that it broke off with."""
    done = [0]
    try:
        told = bring.bring_in(
            shop, open_table(folder / "old.csv"), rejects=folder / "rejects.csv",
            progress=lambda rows, total: done.append(rows),
        )  # fmt: skip
    except HeavyspotError as fault:
        return done[-1], fault
    assert told.taken + told.known == ROWS and not told.refused
    return ROWS, None


def rows_of(shop):
    """How often each line of the book stands in the ledger."""
    with shop.book._engine.connect() as c:
        return Counter(r.content["line"] for r in c.execute(select(old_rows.c.content)))


def import_struck(postgres, folder, how, at):
    """Returns whether it came so far."""
    shop = Workshop(folder / "data")
    with striking(postgres, shop, how, at) as count:
        done, fault = brought(folder, shop)
    assert count[0] < at or done == ROWS or isinstance(fault, LedgerAway), at
    if fault is not None and done:
        assert f"{done} of {ROWS} rows are done and stay" in fault.message
        assert "bring the same table again" in fault.remedy
    if how is lose_answer and at < LAST_OF_BOOK - 30:
        assert (
            fault is not None
            and "nothing was changed" not in fault.message
            and "may be written" in fault.message
        )
    assert brought(folder, shop) == (ROWS, None), at  # the same program goes on by itself
    shop.close()
    again = Workshop(folder / "data")
    lines = rows_of(again)
    assert len(lines) == ROWS and set(lines.values()) == {1}, (at, lines)
    assert [e.serial for e in again.book.jobs.pieces()].count("O-0") == 1
    assert list(again.book.check_chain()) == [] and list(check_index(again)) == [], at
    again.close()
    return count[0] >= at


def acknowledged_is_there(postgres, folder, how, at):
    """What was said to be done is there when the next program starts, before anything is brought again."""
    shop = Workshop(folder / "data")
    with striking(postgres, shop, how, at):
        done, _ = brought(folder, shop)
    shop.close()
    again = Workshop(folder / "data")
    lines = rows_of(again)
    assert len(lines) >= done and set(lines.values()) <= {1}, (at, done, lines)
    assert len(lines) % BATCH == 0 or len(lines) == ROWS, (at, lines)  # a batch all or not at all
    assert list(again.book.check_chain()) == [] and list(check_index(again)) == [], at
    again.close()


LAST_OF_BOOK = 120
"""Statements and commits of bringing it in, and some more."""


@HOWS
@pytest.mark.parametrize("at", [6, 40])
def test_the_old_book_struck(postgres, folder, how, at):
    acknowledged_is_there(postgres, folder, how, at)
    import_struck(postgres, folder, how, at // 2)


@pytest.mark.prove
@HOWS
@pytest.mark.parametrize("at", range(1, LAST_OF_BOOK))
def test_the_old_book_struck_at_every_statement(postgres, folder, how, at):
    acknowledged_is_there(postgres, folder, how, at)


@pytest.mark.prove
@HOWS
@pytest.mark.parametrize("at", range(1, LAST_OF_BOOK))
def test_the_old_book_struck_and_gone_on_with(postgres, folder, how, at):
    assert import_struck(postgres, folder, how, at) or at > LAST_OF_BOOK - 30


def test_these_are_all_statements_of_the_book(postgres, folder):
    assert not import_struck(postgres, folder, cut_line, LAST_OF_BOOK)


# --- the exchange ----------------------------------------------------------------------------------------


@pytest.fixture(params=["main", "east"])
def houses(request, named, tmp_path):
    """Two houses, one of them on PostgreSQL, each with something to tell."""
    made = TwoHouses(tmp_path, furnish, **{f"{request.param}_url": named(request.param)})
    exchange(made.east, made.line)
    spun(made.east, "E-1", customer="Tidal Works")
    heavyspot.ground(made.east, "E-1", "nut", 30.0, mass_mg=5.0)
    heavyspot.add_piece(made.main, "M-1", "Larch 52", customer="Fjord Rail")
    yield made, made.main if request.param == "main" else made.east
    made.close()


def exchanged(houses):
    """Exchange once; returns what it broke off with."""
    try:
        exchange(houses.east, houses.line)
    except HeavyspotError as fault:
        return fault
    return None


def both_are_whole(houses, where):
    """Each piece once in each house, and all that one has acknowledged to the other is there."""
    for shop in (houses.main, houses.east):
        assert list(shop.book.check_chain()) == [] and list(check_recordings(shop)) == [], where
        assert list(check_index(shop)) == [], where
        serials = [p.serial for p in shop.book.jobs.pieces()]
        assert len(serials) == len(set(serials)), where
    for giver, taker in ((houses.east, houses.main), (houses.main, houses.east)):
        reached = taker.book.exchange.cursor(giver.book.exchange.own_id())[0]
        with giver.book._engine.connect() as c:
            told = c.execute(select(chain).where(chain.c.number <= reached)).all()
        for link in told:
            assert link.of_table in OF_ONE_STORE or taker.book.has_entry(link.entry_id), (
                where,
                link,
            )


def exchange_struck(postgres, houses, how, at):
    """Returns whether it came so far."""
    made, struck = houses
    with striking(postgres, struck, how, at) as count:
        fault = exchanged(made)
    assert fault is None or (fault.message and fault.remedy)
    both_are_whole(made, at)
    made.reopened()
    assert exchanged(made) is None, (
        at
    )  # the other house's program is the same, and goes on by itself
    both_are_whole(made, at)
    for shop in (made.main, made.east):
        assert {p.serial for p in shop.book.jobs.pieces()} >= {"E-1", "M-1"}, at
        assert [e.kind for e in whole_story(shop, "E-1")] == ["written", "run", "cut"], at
    return count[0] >= at


LAST_OF_EXCHANGE = 125
"""Of the main house; a station has some 80."""


@HOWS
@pytest.mark.parametrize("at", [12, 60])
def test_the_exchange_struck(postgres, houses, how, at):
    assert exchange_struck(postgres, houses, how, at)


@pytest.mark.prove
@HOWS
@pytest.mark.parametrize("at", range(1, LAST_OF_EXCHANGE))
def test_the_exchange_struck_at_every_statement(postgres, houses, how, at):
    assert exchange_struck(postgres, houses, how, at) or at > 70


def test_these_are_all_statements_of_the_exchange(postgres, houses):
    assert not exchange_struck(postgres, houses, cut_line, LAST_OF_EXCHANGE)
