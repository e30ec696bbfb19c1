"""What is found is what a plain reading of every line gives, whichever way the search takes, on both engines."""

import random

import pytest
from ledger.postgres import server
from loop.loop import model_of

from heavyspot.ledger.book import Book
from heavyspot.ledger.entries.old_book import OldRow
from heavyspot.ledger.find import alike, holding, sample
from heavyspot.ledger.find.alike import LIKE_ENOUGH, groups, likeness
from heavyspot.ledger.find.sample import Sample, take_sample

FIRST = "Nord Fjord Tidal Salt Elm".split()  # noqa: SIM905  # a list of words reads better
SECOND = "hafen gate mark wick".split()  # noqa: SIM905  # as above
LAST = "Haulage Motors Works Marine".split()  # noqa: SIM905  # as above
PIECES = 800
LOT = "L-2001"
"""Of forty pieces far back, and of no other."""


def row(n):
    rng = random.Random(n)
    customer = f"{rng.choice(FIRST)}{rng.choice(SECOND)} {rng.choice(LAST)}"
    lot = LOT if 100 <= n < 140 else f"L-3{n % 7}"
    day = f"20{10 + n // 100:02}-01-{1 + n % 28:02}"
    content = {
        "supplier": lot, "date": day, "verdict": "", "customer": customer, "invoice": f"26-{n:04}",
        "file": "a", "line": n, "cells": {}, "note": "zwyxkla" if n == 7 else "",
    }  # fmt: skip
    return OldRow(f"{n:064}", f"A{n:05}", "Larch 52", customer, f"26-{n:04}", "", day, content)


@pytest.fixture(scope="module", params=["sqlite", "postgresql"])
def book(request, tmp_path_factory):
    folder = tmp_path_factory.mktemp("alike")

    def made(url):
        book = Book(folder, url)
        book.models.add("Larch 52", model_of("Larch 52", 150_000.0, 52.0).model_dump(mode="json"))
        book.old_book.add([row(n) for n in range(PIECES)], by="Ida")
        return book

    if request.param == "sqlite":
        book = made(None)
        yield book
        book.close()
        return
    with server() as url:
        book = made(url)
        yield book
        book.close()


@pytest.fixture(params=[True, False, None], ids=["looked up", "walked", "as it thinks"])
def way(request, monkeypatch):
    """Make PostgreSQL take one way, or the one it takes for the sooner."""
    monkeypatch.setattr(holding, "WINDOW", 16)
    if request.param is not None:
        monkeypatch.setattr(Sample, "is_far_back", lambda *_: request.param)


def lines_of(book):
    """Every line with its piece, the newest first."""
    with book._engine.connect() as c:
        rows = c.exec_driver_sql("select piece_id, words from search").all()
    return sorted(((str(r[0]), str(r[1])) for r in rows), reverse=True)


@pytest.mark.parametrize(
    "typed",
    ["l-2001", "2001", "nord", "nordhafen haulage", "marine l-33", "a00007", "zwyx", "26 larch", "l-", "a0 7",
     "26-0007", "l-2", "100% _", "no such thing", "\\ '"],
)  # fmt: skip
@pytest.mark.parametrize("most", [1, 50, 1000])
def test_the_newest_holders_are_those_of_every_line(book, way, typed, most):
    words = typed.split()
    plainly = [p for p, line in lines_of(book) if all(w in line for w in words)][:most]
    with book._engine.connect() as c:
        found = holding.newest_holding(c, words, most, take_sample(c))
    if book._engine.dialect.name == "sqlite":  # there a line's number tells the order
        assert sorted(p for p, _ in found) == sorted(plainly) or len(plainly) == most
        assert len(found) == len(plainly)
    else:
        assert [p for p, _ in found] == plainly


@pytest.fixture
def all_common(monkeypatch):
    """A ledger so large that every group of a customer's name is a common one."""
    monkeypatch.setattr(alike, "MOST_HOLDERS", 8)


@pytest.mark.parametrize(
    "typed",
    ["norxhafen Haulag", "fjorxgate Motor", "tidaxmark Work", "salxwick Marin", "elxmark hauluge",
     "nordhafn", "haulgae", "nrodgate marinee", "zwyzkla", "l-2002 nordhafenn"],
)  # fmt: skip
def test_the_likest_are_as_like_as_the_likest_of_every_line(book, way, all_common, typed):
    wanted = [(w, groups(w)) for w in typed.lower().split()]
    scores = {p: likeness(wanted, line) for p, line in lines_of(book)}
    found = book.search.find(typed)
    assert found.rows and not found.exact
    shown = [scores[r.id] for r in found.rows]
    assert shown[0] == max(scores.values())
    assert min(shown) >= LIKE_ENOUGH and shown == sorted(shown, reverse=True)


def test_common_words_typed_wrong_find_the_newest_of_the_likest(book, all_common):
    """The customer whose name was meant, though thousands hold each of its groups."""
    lines = lines_of(book)
    meant = [p for p, line in lines if "nordhafen haulage" in line]
    assert len(meant) > 3
    found = [r.id for r in book.search.find("norxhafen Haulag", most=3).rows]
    assert found == meant[:3]


def test_a_sample_only_chooses_the_way(book, monkeypatch):
    """One that misleads finds the same."""
    for lines in ((), ("nothing",), ("l-2001",) * 50):
        monkeypatch.setattr(
            "heavyspot.ledger.find.search.take_sample", lambda c, lines=lines: Sample(lines, 1e6)
        )
        book.search._sample = None
        try:
            assert {r.serial for r in book.search.find("l-2001").rows} == {
                f"A{n:05}" for n in range(100, 140)
            }
        finally:
            book.search._sample = None


def test_the_way_that_costs_less():
    """A million lines: what many pieces hold far back is looked up, what is common is walked to."""
    lines = ["nordgate l-2601"] * 9_000 + ["salt l-2001"] * 40 + ["fjordgate l-1901"] * 960
    of_a_million = Sample(tuple(lines), 100.0)
    assert of_a_million.is_far_back(["l-2001"], 50)
    assert of_a_million.is_far_back(["nowhere"], 50)
    assert not of_a_million.is_far_back(["nordgate"], 50)
    assert not of_a_million.is_far_back(["l-19"], 50)  # a hundred thousand holders


def test_a_sample_is_of_the_lines_and_says_how_many_each_stands_for(book, monkeypatch):
    monkeypatch.setattr(sample, "LINES", 200)
    monkeypatch.setattr(sample, "LINE_BYTES", 120)
    with book._engine.connect() as c:
        taken = take_sample(c)
    every = [line for _, line in lines_of(book)]
    assert set(taken.lines) <= set(every) and 0 < len(taken.lines) < PIECES
    assert PIECES / 3 < taken.per * len(taken.lines) < 3 * PIECES


@pytest.mark.parametrize(
    ("typed", "serials"),
    [("larch invoice:26-0007", ["A00007"]), ("26- to:2010-12-31 a0000", [f"A{n:05}" for n in range(9, -1, -1)])],
)  # fmt: skip
@pytest.mark.parametrize("most", [1, 10])
def test_a_filter_that_leaves_few_of_many_holders_loses_none(book, typed, serials, most):
    found = book.search.find(typed, most=most)
    assert found.exact and [r.serial for r in found.rows] == serials[:most]
