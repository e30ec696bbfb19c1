"""The box finds pieces by any part of anything written of them, and by words typed wrong."""

import pytest
from conftest import there
from hypothesis import given, settings
from hypothesis import strategies as st
from loop.loop import model_of
from workshop.entries import run_of

from heavyspot.ledger.book import Book
from heavyspot.ledger.find.alike import groups
from heavyspot.ledger.find.search import plain
from heavyspot.ledger.records import Learnt


@pytest.fixture(scope="module")
def book(tmp_path_factory):
    made = Book(tmp_path_factory.mktemp("search"))
    for name in ("Larch 52", "Alder 64"):
        made.models.add(name, model_of(name, 150_000.0, 52.0).model_dump(mode="json"))
    for n, (customer, model) in enumerate(
        [("Nordhafen Motor", "Larch 52"), ("Tidal Works", "Alder 64"), ("Müller & Søn", "Larch 52")]
        * 20
    ):
        made.jobs.add_piece(
            f"L52-{n:04d}", model, customer=customer, invoice=f"26-{n // 3}", by="Ida"
        )
    yield made
    made.close()


def serials(book, typed, **kw):
    return [r.serial for r in book.search.find(typed, **kw).rows]


def test_any_part_of_anything(book):
    assert serials(book, "L52-0007") == ["L52-0007"]
    assert serials(book, "0007") == ["L52-0007"]
    assert len(serials(book, "nordhafen", most=100)) == 20
    both = book.search.find("alder tidal", most=100)
    assert len(both.rows) == 20 and both.exact
    assert not book.search.find("tidal larch").exact  # no piece has both: alike ones are offered
    assert len(serials(book, "MULLER son", most=100)) == 20
    assert serials(book, "tidal") == sorted(serials(book, "tidal"), reverse=True)  # newest first
    assert len(serials(book, "")) == 50


def test_filters(book):
    assert all(r.model == "Alder 64" for r in book.search.find("model:alder").rows)
    assert len(serials(book, "model:alder", most=100)) == 20
    assert len(serials(book, "larch customer:nord", most=100)) == 20
    assert serials(book, "l52 verdict:pass") == []
    assert serials(book, "l52 from:2999-01-01") == []
    assert len(serials(book, "l52 to:2999-01-01", most=100)) == 60


@pytest.mark.parametrize(
    "typed", ["nordhaven", "Nordhafn", "nrodhafen", "tidal wroks", "L52-00007"]
)
def test_words_typed_wrong(book, typed):
    found = book.search.find(typed)
    assert found.rows and not found.exact
    first = found.rows[0]
    if typed == "L52-00007":
        assert first.serial in ("L52-0007", "L52-0000")  # one figure too many, or one of them wrong
    else:
        assert first.customer == {"n": "Nordhafen Motor", "t": "Tidal Works"}[typed[0].lower()]


def test_what_is_like_nothing_finds_nothing(book):
    assert serials(book, "zzzyyyxxx") == [] and serials(book, "q") == []


def test_it_follows_every_change(tmp_path):
    book = Book(tmp_path)
    book.models.add("Larch 52", model_of("Larch 52", 150_000.0, 52.0).model_dump(mode="json"))
    piece = book.jobs.add_piece("A-1", "Larch 52", customer="Tidal Works", invoice="7")
    book.jobs.amend_piece(piece, {"serial": "A-900"}, by="Ida", why="digit")
    assert serials(book, "a-900") == ["A-900"] and not book.search.find("a-1 tidal").exact
    job = there(book.jobs.piece("A-900")).job_id
    book.jobs.amend_job(
        job, {"customer": "Fjord Haulage", "note": "rattles when cold"}, by="Ida", why="x"
    )
    assert serials(book, "fjord") == serials(book, "rattles") == ["A-900"]
    book.cartridges.add_run(run_of(piece, by="Oleander"), b"", [], Learnt())
    book.events.add(piece, "claim", {"text": "howls at half load"}, by="Una")
    assert serials(book, "oleander") == serials(book, "howls load") == ["A-900"]
    assert serials(book, "howls verdict:fail") == ["A-900"]
    book.close()


@settings(max_examples=80, deadline=None)
@given(st.text(max_size=60))
def test_nothing_typed_breaks_it(book, typed):
    assert isinstance(book.search.find(typed).rows, list)


def test_plain_and_groups():
    assert plain("  Müller  &\tSØN ") == "muller & son"
    assert groups("abc") == {" ab", "abc", "bc "}
