"""Each building keeps the other's heads: an end cut off in one is known in the other."""

from dataclasses import replace

import pytest
from conftest import there
from workshop.keep.test_heads import cut_off
from workshop.station.two_houses import spun

from heavyspot.quantities.errors import BadInput, NotAllowed
from heavyspot.workshop.heads import check_heads, heads_of, new_head
from heavyspot.workshop.job.pieces import add_piece
from heavyspot.workshop.station.arrivals import add_station
from heavyspot.workshop.station.heads import asked_back, receive_head
from heavyspot.workshop.station.line import refuse_clear
from heavyspot.workshop.station.station import exchange, standing


def test_both_keep_each_others_head(houses):
    spun(houses.east, "E-1")
    exchange(houses.east, houses.line)
    main = houses.main.book.exchange.own_id()
    theirs = heads_of(houses.east, main)[0]
    assert (theirs.number, theirs.link) == houses.main.book.head()
    mine = asked_back(houses.east, houses.line)[0]
    assert (mine.number, mine.link) == houses.east.book.head()
    sent = len(houses.line.log)
    exchange(houses.east, houses.line)  # nothing new: no head is sent again
    assert not any(path.endswith("/head") for _, path in houses.line.log[sent:])
    # the heads a station kept show at the main house that its end was cut off
    houses.main = cut_off(houses.main, 2)
    assert "cut off" in [f.kind for f in check_heads(houses.main, [theirs])]


def test_the_station_says_that_the_main_house_was_cut_off(houses):
    add_piece(houses.main, "M-1", "Larch 52")
    add_piece(houses.main, "M-2", "Larch 52")
    exchange(houses.east, houses.line)
    assert there(standing(houses.east)).words() == []
    houses.main = cut_off(houses.main, 2)
    houses.line.client.app.state.shop = houses.main
    exchange(houses.east, houses.line)
    assert "The main house's ledger was cut off" in there(standing(houses.east)).words()[0]
    exchange(houses.east, houses.line)
    assert "cut off" in there(standing(houses.east)).words()[0]  # it stays said


def test_a_stations_own_cut_end_is_known_at_the_main_house(houses):
    spun(houses.east, "E-1")
    exchange(houses.east, houses.line)
    houses.east = cut_off(houses.east, 1)
    assert [f.kind for f in check_heads(houses.east, asked_back(houses.east, houses.line))] == [
        "cut off"
    ]


def test_a_head_that_lies_is_not_kept(houses):
    spun(houses.east, "E-1")
    exchange(houses.east, houses.line)
    cursor, _ = houses.main.book.exchange.cursor(houses.east.book.exchange.own_id())
    good, _ = new_head(houses.east, cursor)
    assert receive_head(houses.main, "East", good).signed_well()
    with pytest.raises(BadInput, match="not as it was signed"):
        receive_head(houses.main, "East", replace(good, root="0" * 64))
    with pytest.raises(BadInput, match="another link"):
        receive_head(houses.main, "East", replace(good, link="0" * 64))
    key = add_station(houses.main, "West")
    assert key and len(heads_of(houses.main, good.store)) >= 1
    with pytest.raises(NotAllowed):
        receive_head(houses.main, "West", good)


@pytest.mark.parametrize("url", ["http://main.example:8520", "http://192.168.1.5/", "HTTP://main"])
def test_a_line_in_the_clear_is_asked_about(url):
    with pytest.raises(BadInput, match="in the clear"):
        refuse_clear(url)
    refuse_clear(url, own_net=True)
    for fine in (
        "https://main.example",
        "http://127.0.0.1:8520",
        "http://localhost",
        "http://[::1]:1",
    ):
        refuse_clear(fine)
