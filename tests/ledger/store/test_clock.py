"""A clock set back a day: what is newest is what was written last, and the step is said."""

import contextlib
from datetime import UTC, datetime, timedelta

import pytest
from ledger.postgres import server

from heavyspot.ledger.store import clock, identity
from heavyspot.quantities.errors import BadInput
from heavyspot.workshop.demo.rigs import furnish
from heavyspot.workshop.job.editing import amend_piece
from heavyspot.workshop.job.pieces import add_piece
from heavyspot.workshop.model.models import add_model, find_model
from heavyspot.workshop.people import people_of
from heavyspot.workshop.shop import Workshop, clock_words, find_piece
from heavyspot.workshop.station.arrivals import add_station, end_station, station_of

PASSWORD = "a sentence to remember"


@pytest.fixture(params=["SQLite", "PostgreSQL"])
def shop(request, tmp_path):
    with server() if request.param == "PostgreSQL" else contextlib.nullcontext("") as url:
        if url:
            (tmp_path / "shop.toml").write_text(f'ledger_url = "{url}"\n')
        made = Workshop(tmp_path)
        furnish(made)
        yield made
        made.close()


@pytest.fixture
def set_back(monkeypatch):
    """Set the clock back by days, for identifiers and for times."""

    class Moved(datetime):
        by = timedelta(0)

        @classmethod
        def now(cls, tz=None):
            return datetime.now(tz) + cls.by

    def move(days):
        Moved.by = -timedelta(days=days)
        monkeypatch.setattr(identity, "_last", (-1, 0))  # as if the program had begun anew
        monkeypatch.setattr("heavyspot.quantities.clock.datetime", Moved)
        monkeypatch.setattr(clock, "datetime", Moved)

    return move


def test_an_ended_account_stays_ended_and_a_new_password_counts(shop, set_back):
    people = people_of(shop)
    for name in ("Ida", "Jon", "Ole", "Una"):
        people.set_user(name, "owner", PASSWORD)
    token = people.log_in("Ole", PASSWORD)
    set_back(1)
    people.end_user("Ida")
    with pytest.raises(BadInput, match="wrong"):
        people.log_in("Ida", PASSWORD)
    people.set_user("Jon", "technician", PASSWORD + "!")
    with pytest.raises(BadInput, match="wrong"):
        people.log_in("Jon", PASSWORD)
    jon = people.who(people.log_in("Jon", PASSWORD + "!"))
    assert jon is not None and jon.role == "technician"
    assert people.who(token) is not None
    people.set_user("Ole", "technician", PASSWORD)
    assert people.who(token) is None  # a login of before does not outlive the change
    roles = {u.name: u.role for u in people.users()}
    assert roles == {"Jon": "technician", "Ole": "technician", "Una": "owner"}


def test_keys_versions_and_amendments_too(shop, set_back):
    key = add_station(shop, "East")
    add_piece(shop, "C-1", "Larch 52")
    amend_piece(shop, "C-1", {"position": "front"}, by="Ida", why="seen")
    set_back(1)
    end_station(shop, "East")
    assert station_of(shop, key) == ""
    newer = add_station(shop, "East")
    assert station_of(shop, newer) == "East" and station_of(shop, key) == ""
    content = shop.book.models.newest("Larch 52").content
    add_model(shop, {**content, "test_speed_rpm": 140_000}, by="Ida")
    assert find_model(shop, "Larch 52").test_speed_rpm == 140_000
    amend_piece(shop, "C-1", {"position": "rear"}, by="Ida", why="seen again")
    assert find_piece(shop, "C-1").position == "rear"


def test_a_clock_that_went_back_is_said_and_its_entries_are_marked(shop, set_back):
    assert clock_words(shop) == "" and shop.book.clock_backs() == []
    add_piece(shop, "C-1", "Larch 52")
    before = shop.book.head()[0]
    set_back(1)
    assert "1,440 min behind" in clock_words(shop)
    add_piece(shop, "C-2", "Larch 52")
    add_piece(shop, "C-3", "Larch 52")
    after = shop.book.head()[0]
    set_back(0)
    add_piece(shop, "C-4", "Larch 52")
    assert clock_words(shop) == ""
    (back,) = shop.book.clock_backs()
    assert (back.first, back.last) == (before + 1, after)
    step = datetime.fromisoformat(back.before) - datetime.fromisoformat(back.at)
    assert step == pytest.approx(timedelta(days=1), abs=timedelta(minutes=1))
    assert datetime.now(UTC) > datetime.fromisoformat(back.before)
    assert list(shop.book.check_chain()) == []
