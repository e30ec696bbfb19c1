"""A cursor belongs to its station, goes forward link by link, and is proved by its digest."""

from dataclasses import asdict, replace

import pytest
from workshop.station.two_houses import CutLine, spun

from heavyspot.ledger.store.identity import new_id
from heavyspot.quantities.errors import BadInput, NotAllowed
from heavyspot.workshop.job.pieces import add_piece
from heavyspot.workshop.station.arrivals import add_station
from heavyspot.workshop.station.station import exchange


@pytest.fixture
def houses(houses):
    spun(houses.east, "E-0", 1)
    exchange(houses.east, houses.line)
    return houses


@pytest.fixture
def mallory(houses):
    """Another station's key."""
    return CutLine(houses.app, add_station(houses.main, "West", by="Ida")).client


def sent(client, **offer):
    body = {"offer": {"parcels": [], "digest": "0" * 64, **offer}}
    return client.post("/api/v1/exchange/entries", json=body)


def test_another_station_s_key_moves_no_cursor(houses, mallory):
    east = houses.east.book.exchange.own_id()
    before = houses.main.book.exchange.cursor(east)
    assert before[0] == houses.east.book.head()[0]
    for number in (before[0] + 1, before[0] + 100, 10**9):
        for digest in ("", "0" * 64, before[1]):
            refused = 403 if digest else 422  # an empty digest is none at all
            assert sent(mallory, store=east, number=number, digest=digest).status_code == refused
    assert mallory.get(f"/api/v1/exchange/cursor?store={east}").status_code == 403
    proof = {"store": east, "number": before[0], "digest": before[1]}
    assert mallory.post("/api/v1/exchange/proof", json=proof).status_code == 403
    assert houses.main.book.exchange.cursor(east) == before
    main = houses.main.book.exchange.own_id()
    assert sent(mallory, store=main, number=1).status_code == 403


def test_it_goes_forward_link_by_link(houses):
    """The station itself, gone wrong: what it skips would never be sent."""
    east, main = houses.east.book.exchange, houses.main.book.exchange
    store = east.own_id()
    add_piece(houses.east, "E-1", "Larch 52")
    at = main.cursor(store)
    offer = east.offer(at[0], taker="nobody")
    wrongs = [
        replace(offer, parcels=(), number=10**9, digest=""),
        replace(offer, parcels=(), number=at[0] + 1, digest=""),
        replace(offer, number=offer.number + 1_000),
        replace(offer, digest="0" * 64),
        replace(offer, parcels=offer.parcels[::-1]) if len(offer.parcels) > 1 else replace(offer, digest="1" * 64),
        replace(offer, parcels=(replace(offer.parcels[0], before="0" * 64), *offer.parcels[1:])),
        replace(offer, parcels=(replace(offer.parcels[0], number=offer.number + 5),)),
    ]  # fmt: skip
    for wrong in wrongs:
        with pytest.raises(BadInput):
            main.take(wrong, station="East")
        assert main.cursor(store) == at
    main.take(offer, station="East")
    assert main.cursor(store) == (offer.number, offer.digest)
    main.take(replace(offer, number=1, parcels=()), station="East")  # an old one moves nothing back
    assert main.cursor(store) == (offer.number, offer.digest)
    with pytest.raises(NotAllowed):
        main.take(east.offer(offer.number, taker="nobody"), station="West")


def test_a_main_house_that_claims_too_much_is_not_believed(houses):
    """A cursor beyond the own chain, with an empty digest, is not \"all was sent\"."""
    add_piece(houses.east, "E-2", "Larch 52")
    change = houses.line.send

    def lying(method, path, body=b"", kind="application/json"):
        answer = change(method, path, body, kind)
        return {"number": 10**9, "digest": ""} if "/cursor" in path else answer

    houses.line.send = lying
    exchange(houses.east, houses.line)
    houses.line.send = change
    exchange(houses.east, houses.line)
    assert houses.main.book.jobs.piece("E-2") is not None
    assert list(houses.main.book.check_chain()) == []


def test_a_new_store_is_of_who_names_it_first(houses, mallory):
    store = new_id()
    offer = houses.east.book.exchange.offer(0, taker="nobody")
    body = {"offer": asdict(replace(offer, store=store))}
    houses.line.client.post("/api/v1/exchange/entries", json=body)
    assert sent(mallory, store=store, number=offer.number + 1).status_code == 403
