"""A second building: what its station writes arrives once, in order, whatever happens to the line."""

import json
import random
import sqlite3
import time

import pytest
from conftest import there
from ledger.postgres import server
from workshop.station.two_houses import CutLine, TwoHouses, spun

from heavyspot.quantities.errors import BadInput, LedgerFault, NotThere, SourceLost
from heavyspot.web.app import create_app
from heavyspot.workshop.cartridge.grinding import ground
from heavyspot.workshop.cartridge.story import cartridge_story
from heavyspot.workshop.demo.rigs import furnish
from heavyspot.workshop.job.build_record import tell
from heavyspot.workshop.job.editing import amend_job, amend_piece
from heavyspot.workshop.job.story import whole_story
from heavyspot.workshop.keep.backup import back_up, restore
from heavyspot.workshop.keep.errands import Errands
from heavyspot.workshop.keep.ledger_state import check_index
from heavyspot.workshop.keep.retention import check_recordings
from heavyspot.workshop.model.models import find_model
from heavyspot.workshop.sheets.issue import issue_sheet
from heavyspot.workshop.shop import Workshop, find_piece
from heavyspot.workshop.station import arrivals, station
from heavyspot.workshop.station.station import exchange, standing, wipe


def a_day(shop, name, pieces=2):
    """A day's work, with everything that can be written of a piece."""
    for n in range(pieces):
        serial = f"{name}-{n}"
        spun(shop, serial, 1 + n, customer="Tidal Works", invoice=f"{name}-7")
        ground(shop, serial, "nut", 30.0, mass_mg=5.0, by="Ida")
        spun(shop, serial, 2 + n, new=False)
        tell(shop, serial, "note", f"note of {serial}", by="Ida")
        amend_piece(shop, serial, {"position": "front"}, by="Ida", why="seen")
        issue_sheet(shop, serial, shop.book.folder / "last.pdf")


def told(shop, serial):
    return [(e.kind, e.at, e.by, e.text, e.verdict) for e in whole_story(shop, serial)]


def whole(shop):
    assert list(shop.book.check_chain()) == []
    assert list(check_recordings(shop)) == [] and list(check_index(shop)) == []


def test_what_the_station_writes_arrives_with_its_recordings(houses):
    before, _ = houses.east.book.head()
    a_day(houses.east, "E")
    written = houses.east.book.head()[0] - before
    assert there(standing(houses.east)).waiting == written >= 16  # eight kinds of entry, two pieces
    done = exchange(houses.east, houses.line)
    assert done.files == 6 and done.held == 0 and done.missing == []
    for serial in ("E-0", "E-1"):
        assert told(houses.main, serial) == told(houses.east, serial)
        assert (
            cartridge_story(houses.main, serial).runs[1].result.advice
            == cartridge_story(houses.east, serial).runs[1].result.advice
        )
        assert find_piece(houses.main, serial) == find_piece(houses.east, serial)
    whole(houses.main)
    again = exchange(houses.east, houses.line)
    assert (again.sent, again.files, again.got) == (0, 0, 0)
    assert there(standing(houses.east)).waiting == 0
    assert [r.serial for r in houses.main.book.search.find("note of e-1").rows] == ["E-1"]
    number = houses.main.book.sheets.newest(find_piece(houses.main, "E-0").id, "run").number
    assert number.endswith("-East00001")


def test_the_station_learns_from_the_main_house(houses):
    a_day(houses.main, "M", 1)
    got = exchange(houses.east, houses.line)
    assert got.got > 8 and told(houses.east, "M-0") == told(houses.main, "M-0")
    plane = find_model(houses.east, "Larch 52").plane[0].name
    assert houses.east.book.library.responses(
        "Larch 52", plane, not_piece=""
    ) == houses.main.book.library.responses("Larch 52", plane, not_piece="")
    assert exchange(houses.east, houses.line).sent == 0  # nothing goes back to where it came from


@pytest.mark.parametrize("seed", range(12))
def test_a_line_cut_anywhere_doubles_nothing_and_loses_nothing(houses, monkeypatch, seed):
    monkeypatch.setattr(station, "BLOCK", 20_000)
    monkeypatch.setattr("heavyspot.ledger.exchange.exchange.BATCH", 3)
    rng = random.Random(seed)
    a_day(houses.east, "E", 1)
    a_day(houses.main, "M", 1)
    cuts = CutLine(houses.app, houses.key, lambda n: rng.choice([None] * 6 + ["before", "after"]))
    for tries in range(400):
        try:
            exchange(houses.east, cuts)
            break
        except SourceLost:
            if tries % 5 == 0:
                houses.reopened()  # the power goes too
    assert tries > 3
    assert exchange(houses.east, houses.line).sent == 0
    for serial in ("E-0", "M-0"):
        assert told(houses.main, serial) == told(houses.east, serial)
    whole(houses.main)
    assert list(houses.east.book.check_chain()) == []
    here, there = (
        s.book.cartridges.runs(find_piece(s, "E-0").id) for s in (houses.main, houses.east)
    )
    assert here == there


def test_what_changes_on_the_way_is_refused(houses):
    a_day(houses.east, "E", 1)

    def change(method, path, body):
        return body.replace(b'"Tidal Works"', b'"Other Works"') if "entries" in path else body

    houses.line.change = change
    with pytest.raises(BadInput, match="does not fit its link"):
        exchange(houses.east, houses.line)
    assert houses.main.book.jobs.piece("E-0") is None
    spun(houses.east, "E-9", 5)
    houses.line.change = lambda method, path, body: body[:-1] + b"x" if "/files/" in path else body
    with pytest.raises(BadInput, match="arrived damaged"):
        exchange(houses.east, houses.line)
    houses.line.change = lambda method, path, body: body
    exchange(houses.east, houses.line)
    whole(houses.main)
    assert told(houses.main, "E-0") == told(houses.east, "E-0")


def test_nobody_else_may_send(houses):
    for key in ("", "x" * 43):
        with pytest.raises(BadInput, match="no station's key"):
            exchange(houses.east, CutLine(houses.app, key))
    arrivals.end_station(houses.main, "East")
    with pytest.raises(BadInput, match="no station's key"):
        exchange(houses.east, houses.line)
    line = CutLine(houses.app, arrivals.add_station(houses.main, "East"))
    for name in (
        "../shop.toml",
        "recordings/../../x.flac",
        "recordings/2026/01/x.flac",
        "/etc/passwd",
    ):
        answer = line.client.put(
            f"/api/v1/exchange/files/{name}?at=0&digest={'0' * 64}", content=b"x"
        )
        assert answer.status_code in (404, 405, 422), name
    with pytest.raises(BadInput, match="no name of a station"):
        arrivals.add_station(houses.main, "../x")


def test_one_serial_made_twice_is_the_same_piece(houses):
    spun(houses.main, "TWIN", 1, customer="Here")
    a_day(houses.east, "TWIN", 1)  # TWIN-0, to see that others go on
    spun(houses.east, "TWIN", 2, customer="There")
    ground(houses.east, "TWIN", "nut", 40.0, mass_mg=4.0)
    done = exchange(houses.east, houses.line)
    assert done.held >= 3 and cartridge_story(houses.main, "TWIN").piece.customer == "Here"
    assert told(houses.main, "TWIN-0") == told(houses.east, "TWIN-0")
    (held,) = houses.main.book.conflicts.pieces()
    assert (held.serial, held.why, held.runs) == ("TWIN", "serial", 1)
    spun(houses.east, "TWIN", 3, new=False)  # goes on before anybody has decided
    exchange(houses.east, houses.line)
    assert houses.main.book.conflicts.pieces()[0].runs == 2
    houses.main.book.conflicts.decide(held.store, held.piece_id, by="Ida", why="looked at it")
    story = cartridge_story(houses.main, "TWIN")
    assert [r.number for r in story.runs] == [1, 2, 3]
    assert [c.after_run for c in story.made] == [2]
    ground(houses.east, "TWIN", "nut", 50.0, mass_mg=3.0)  # and after
    assert exchange(houses.east, houses.line).held == 0
    assert [c.after_run for c in cartridge_story(houses.main, "TWIN").made] == [2, 3]
    assert find_piece(houses.main, "TWIN").number == 3
    assert houses.main.book.conflicts.pieces() == []
    whole(houses.main)


def test_one_serial_made_twice_is_another_piece(houses):
    spun(houses.main, "TWIN", 1)
    spun(houses.east, "TWIN", 2)
    exchange(houses.east, houses.line)
    (held,) = houses.main.book.conflicts.pieces()
    with pytest.raises(LedgerFault, match="there already"):
        houses.main.book.conflicts.decide(held.store, held.piece_id, serial="TWIN")
    now = houses.main.book.conflicts.decide(held.store, held.piece_id, serial="TWIN east", by="Ida")
    assert now == "TWIN east" and len(cartridge_story(houses.main, "TWIN east").runs) == 1
    spun(houses.east, "TWIN", 3, new=False)
    exchange(houses.east, houses.line)
    assert len(cartridge_story(houses.main, "TWIN east").runs) == 2
    assert len(cartridge_story(houses.main, "TWIN").runs) == 1
    with pytest.raises(NotThere, match="Nothing is held"):
        houses.main.book.conflicts.decide(held.store, held.piece_id)
    whole(houses.main)


@pytest.mark.parametrize("other", ["", "SAME b"])
def test_one_piece_spun_in_both_buildings(houses, other):
    spun(houses.main, "SAME", 1)
    exchange(houses.east, houses.line)
    spun(houses.main, "SAME", 2, new=False)
    ground(houses.east, "SAME", "nut", 40.0, mass_mg=4.0)  # after run 1, which both know
    spun(houses.east, "SAME", 3, new=False)
    ground(houses.east, "SAME", "nut", 50.0, mass_mg=3.0)  # after its own run 2
    exchange(houses.east, houses.line)
    (held,) = houses.main.book.conflicts.pieces()
    assert (held.serial, held.why, held.runs) == ("SAME", "number", 1)
    houses.main.book.conflicts.decide(held.store, held.piece_id, serial=other)
    cuts = {
        s: [c.after_run for c in cartridge_story(houses.main, s).made]
        for s in {"SAME", other or "SAME"}
    }
    runs = {s: [r.number for r in cartridge_story(houses.main, s).runs] for s in cuts}
    if other:
        assert runs == {"SAME": [1, 2], "SAME b": [1]} and cuts == {"SAME": [1], "SAME b": [1]}
    else:
        assert runs == {"SAME": [1, 2, 3]} and cuts == {"SAME": [1, 3]}
    whole(houses.main)


def test_what_was_changed_in_both_is_told_to_a_person(houses):
    spun(houses.main, "BOTH", 1, customer="A", invoice="1")
    exchange(houses.east, houses.line)
    job = find_piece(houses.main, "BOTH").job_id
    amend_job(houses.main, job, {"customer": "B"}, by="Ida", why="x")
    amend_job(houses.east, job, {"customer": "C", "note": "hot"}, by="Jon", why="y")
    amend_piece(houses.east, "BOTH", {"position": "rear"}, by="Jon", why="y")
    exchange(houses.east, houses.line)
    (clash,) = houses.main.book.exchange.clashes()
    assert clash.kind == "job" and clash.content["fields"] == ["customer"]
    assert clash.content["here"]["customer"] == "B" and clash.content["there"]["customer"] == "C"
    assert find_piece(houses.main, "BOTH").customer == "C"  # the later one, and both are kept
    assert find_piece(houses.main, "BOTH") == find_piece(houses.east, "BOTH")
    houses.main.book.exchange.settle(clash.id, by="Ida", why="asked them")
    assert houses.main.book.exchange.clashes() == []
    exchange(houses.east, houses.line)  # now each knows of the other's change
    amend_job(houses.east, job, {"customer": "D"}, by="Jon", why="z")
    exchange(houses.east, houses.line)
    assert houses.main.book.exchange.clashes() == []


def test_one_model_changed_in_both(houses):
    content = houses.main.book.models.newest("Larch 52").content
    houses.main.book.models.add("Larch 52", content | {"test_speed_rpm": 140000}, by="Ida")
    houses.east.book.models.add("Larch 52", content | {"test_speed_rpm": 130000}, by="Jon")
    exchange(houses.east, houses.line)
    assert [c.kind for c in houses.main.book.exchange.clashes()] == ["model"]
    assert find_model(houses.main, "Larch 52") == find_model(houses.east, "Larch 52")


def test_a_serial_changed_to_one_that_is_taken_is_told(houses):
    spun(houses.main, "ONE", 1)
    exchange(houses.east, houses.line)
    spun(houses.main, "TWO", 2)
    amend_piece(houses.east, "ONE", {"serial": "TWO"}, by="Jon", why="read wrong")
    exchange(houses.east, houses.line)
    (clash,) = houses.main.book.exchange.clashes()
    assert clash.kind == "piece" and houses.main.book.jobs.piece("ONE") is not None
    whole(houses.main)


def test_clocks_that_differ_are_said_and_order_does_not_rest_on_them(houses, monkeypatch):
    a_day(houses.east, "E", 1)
    monkeypatch.setattr(arrivals, "now_utc", lambda: "2020-01-01T00:00:00.000Z")
    done = exchange(houses.east, houses.line)
    assert done.clock_s > 5 * 365 * 86_400
    assert "ahead of the main house's" in there(standing(houses.east)).words()[0]
    with sqlite3.connect(houses.main.book.folder / "ledger.sqlite") as c:
        (kept,) = c.execute("select max(clock_s) from arrivals").fetchone()
    assert kept == pytest.approx(done.clock_s)
    assert told(houses.main, "E-0") == told(houses.east, "E-0")


def test_a_station_is_wiped_only_with_proof(houses, tmp_path):
    a_day(houses.east, "E")
    houses.east.close()
    down = CutLine(houses.app, houses.key, lambda n: "before" if n > 8 else None)
    with pytest.raises(SourceLost):
        wipe(tmp_path / "east", down)
    houses.east = Workshop(tmp_path / "east")
    recordings = [houses.east.book.folder / n for _, n, _ in houses.east.book.events.files()]
    assert len(recordings) == 6 and all(p.exists() for p in recordings)
    lost = houses.main.book.folder / houses.east.book.events.files()[0][1]
    exchange(houses.east, houses.line)
    good = lost.read_bytes()
    lost.write_bytes(good[:-1])
    houses.east.close()
    with pytest.raises(BadInput, match="not here as it was written"):
        wipe(tmp_path / "east", houses.line)
    assert all(p.exists() for p in recordings)
    lost.write_bytes(good)
    kept = wipe(tmp_path / "east", houses.line)
    proof = json.loads(kept.read_text())
    assert proof["station"] == "East" and proof["recordings"] == 6
    assert not any(p.exists() for p in recordings)
    houses.east = Workshop(tmp_path / "east")
    assert told(houses.east, "E-0") == told(houses.main, "E-0")  # filled from the main house
    spun(houses.east, "F-0", 1)
    sheet = issue_sheet(houses.east, "F-0", tmp_path / "f.pdf")
    assert sheet.number.endswith("-East00003")
    exchange(houses.east, houses.line)
    assert told(houses.main, "F-0") == told(houses.east, "F-0")
    whole(houses.main)


def test_a_proof_that_is_not_the_main_house_s_is_refused(houses, tmp_path, monkeypatch):
    a_day(houses.east, "E", 1)
    monkeypatch.setattr(arrivals, "sign_words", lambda *_, **__: "AAAA")
    houses.east.close()
    with pytest.raises(LedgerFault, match="does not fit"):
        wipe(tmp_path / "east", houses.line)
    houses.east = Workshop(tmp_path / "east")
    assert houses.east.book.jobs.piece("E-0")


def test_a_station_restored_from_an_old_backup_doubles_nothing(houses, tmp_path):
    a_day(houses.east, "E", 1)
    back_up(houses.east, tmp_path / "copy")
    a_day(houses.east, "F", 1)
    exchange(houses.east, houses.line)
    houses.east.close()
    restore(tmp_path / "copy", tmp_path / "again")
    houses.east = Workshop(tmp_path / "again")
    spun(houses.east, "G-0", 4)
    exchange(houses.east, houses.line)
    for serial in ("E-0", "F-0", "G-0"):  # what it had lost, it gets back
        assert told(houses.main, serial) == told(houses.east, serial)
    assert (
        houses.main.book.conflicts.pieces() == []
        and len(cartridge_story(houses.main, "E-0").runs) == 2
    )
    whole(houses.main)


def test_a_main_house_restored_from_an_old_backup_gets_back_what_stations_have(houses, tmp_path):
    back_up(houses.main, tmp_path / "copy")
    a_day(houses.main, "M", 1)
    a_day(houses.east, "E", 1)
    exchange(houses.east, houses.line)
    houses.main.close()
    restore(tmp_path / "copy", tmp_path / "main again")
    houses.app = create_app(tmp_path / "main again")
    houses.main = houses.app.state.shop
    exchange(houses.east, CutLine(houses.app, houses.key))
    for serial in ("E-0", "M-0"):
        assert [e[:2] for e in told(houses.main, serial)] == [
            e[:2] for e in told(houses.east, serial)
        ]
    assert list(houses.main.book.check_chain()) == []


def test_a_main_house_on_postgresql(tmp_path):
    with server() as url:
        houses = TwoHouses(tmp_path, furnish, url)
        exchange(houses.east, houses.line)
        spun(houses.main, "TWIN", 1)
        a_day(houses.east, "E", 1)
        spun(houses.east, "TWIN", 2)
        exchange(houses.east, houses.line)
        assert told(houses.main, "E-0") == told(houses.east, "E-0")
        (held,) = houses.main.book.conflicts.pieces()
        houses.main.book.conflicts.decide(held.store, held.piece_id)
        assert len(cartridge_story(houses.main, "TWIN").runs) == 2
        whole(houses.main)
        houses.close()


def test_the_server_hands_on_by_itself_and_says_when_the_line_is_down(houses, monkeypatch):
    a_day(houses.east, "E", 1)
    monkeypatch.setattr(
        "heavyspot.workshop.keep.errands.line_of",
        lambda joined: CutLine(houses.app, houses.key, lambda n: "before"),
    )
    errands = Errands(houses.east, every_s=0.05)
    errands.start()
    for _ in range(100):
        if errands.fault:
            break
        time.sleep(0.05)
    assert "line is down" in errands.fault
    monkeypatch.setattr("heavyspot.workshop.keep.errands.line_of", lambda joined: houses.line)
    for _ in range(200):
        if not errands.fault:
            break
        time.sleep(0.05)
    errands.stop()
    assert told(houses.main, "E-0") == told(houses.east, "E-0")
