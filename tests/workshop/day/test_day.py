"""The day: what is on each rig, what needs a person and why, what waits, what passed."""

from datetime import UTC, datetime, timedelta

import numpy as np
import pytest
from workshop.cartridge.test_spin import MODEL, QUICK

from heavyspot.quantities import clock
from heavyspot.quantities.said import in_words
from heavyspot.sim.cartridge import make_cartridge
from heavyspot.sources.simulated import simulated_recording
from heavyspot.workshop.cartridge.grinding import ground_as_advised
from heavyspot.workshop.cartridge.spinning import spin
from heavyspot.workshop.day.jobs import next_piece, passed_since, waiting
from heavyspot.workshop.day.needs import CLAIM_DAYS, SOON, needs_of
from heavyspot.workshop.day.on_rigs import on_rigs
from heavyspot.workshop.job.build_record import tell
from heavyspot.workshop.job.editing import Member, add_job
from heavyspot.workshop.job.pieces import add_piece
from heavyspot.workshop.model.models import add_model
from heavyspot.workshop.rig.record import add_rig
from heavyspot.workshop.shop import Workshop, find_piece

NOW = datetime(2026, 11, 26, 15, 0, tzinfo=UTC)
MORNING = NOW.replace(hour=0)


@pytest.fixture
def shop(tmp_path):
    with Workshop(tmp_path / "data") as made:
        with clock.made_up(NOW - timedelta(days=30)):
            add_model(made, MODEL)
            for rig in ("High 1", "High 2"):
                add_rig(made, rig, {"due": "2027-05-04"})
            add_rig(made, "Low 1", {"kind": "low-speed rotor machine"})
        yield made


def put_on(shop, serial, peak_g, *, rig="High 1", at=NOW):
    with clock.made_up(at):
        made = simulated_recording(make_cartridge("Larch 52", 3, peak_g=peak_g), 5, QUICK)
        return spin(shop, serial, made, operator="Ines", rig=rig)


def test_what_is_on_each_rig_and_what_is_to_be_done_with_it(shop):
    add_piece(shop, "A-1", "Larch 52")
    add_piece(shop, "A-2", "Larch 52")
    assert [(r.rig, r.state) for r in on_rigs(shop, since=MORNING)] == [
        ("High 1", "free"),
        ("High 2", "free"),
    ]
    told = put_on(shop, "A-1", 1.4)
    put_on(shop, "A-2", 0.2, rig="High 2")
    first, second = on_rigs(shop, since=MORNING)
    assert (first.state, first.serial, first.by, second.state) == ("grind", "A-1", "Ines", "passed")
    assert [c[3] for c in first.cuts] == [c.depth_mm for c in told.advice.cuts]
    assert second.highest_g is not None and second.highest_g < 0.5
    assert second.curve is not None and np.abs(second.curve.vector).max() > 0
    ground_as_advised(shop, "A-1")
    assert on_rigs(shop, since=MORNING)[0].state == "spin"
    assert on_rigs(shop, since=NOW + timedelta(hours=12))[0].state == "free"


def test_what_waits_by_due_date_and_what_passed(shop):
    with clock.made_up(NOW - timedelta(days=1)):
        for customer, due, serials in (
            ("Gull Rock Ferries", "2026-12-01", ["B-1"]),
            ("Fjord Haulage", "2026-11-27", ["C-1", "C-2"]),
            ("Orchard Farms", "", ["D-1"]),
        ):
            add_job(shop, [Member(s, "Larch 52") for s in serials], customer=customer, due=due)
    put_on(shop, "C-2", 0.2)
    put_on(shop, "D-1", 0.2, at=NOW - timedelta(days=1))
    left = waiting(shop, now=NOW)
    assert [(w.job.customer, w.done) for w in left] == [
        ("Fjord Haulage", (False, True)),
        ("Gull Rock Ferries", (False,)),
    ]
    assert [p.serial for p in passed_since(shop, since=MORNING)] == ["C-2"]
    with clock.made_up(NOW - timedelta(days=100)):
        add_job(shop, [Member("E-1", "Larch 52")], customer="Tidal Marine")
        add_job(shop, [Member("E-2", "Larch 52")], customer="Tidal Marine", due="2026-09-01")
    late = [w.job.due for w in waiting(shop, now=NOW)]
    assert late == ["2026-09-01", "2026-11-27", "2026-12-01"]  # one without a date is forgotten


def test_nothing_needs_a_person_where_all_is_well(shop):
    add_piece(shop, "A-1", "Larch 52")
    put_on(shop, "A-1", 0.2)
    assert needs_of(shop, now=NOW) == []


def test_each_need_goes_when_its_cause_is_gone(shop):
    add_rig(shop, "High 2", {"due": (NOW + SOON).date().isoformat()})
    add_piece(shop, "A-1", "Larch 52", customer="Fjord Haulage")
    with clock.made_up(NOW - timedelta(days=3)):
        tell(shop, "A-1", "claim", "whistle under load")
    claim, due = needs_of(shop, now=NOW)
    assert (claim.sort, in_words(claim.what), in_words(claim.about)) == (
        "person",
        "Claim: whistle under load",
        "A-1, Fjord Haulage",
    )
    assert claim.place == "/pieces/A-1"
    assert (due.sort, in_words(due.what), in_words(due.about)) == (
        "date",
        "Calibration of High 2",
        "ends in 14 days",
    )
    add_rig(shop, "High 2", {"due": "2027-11-04"})
    with clock.made_up(NOW - timedelta(days=2)):
        tell(shop, "A-1", "note", "the hose was loose")
    assert needs_of(shop, now=NOW) == []
    add_rig(shop, "High 2", {"due": "2026-11-20"})
    assert [in_words(n.about) for n in needs_of(shop, now=NOW)] == ["was due 2026-11-20"]


def test_a_claim_long_ago_is_no_news(shop):
    add_piece(shop, "A-1", "Larch 52")
    with clock.made_up(NOW - timedelta(days=CLAIM_DAYS + 1)):
        tell(shop, "A-1", "claim", "whistle")
    assert needs_of(shop, now=NOW) == []


def test_a_master_not_spun_and_one_that_reads_otherwise(shop):
    add_piece(shop, "M-1", "Larch 52")
    add_rig(shop, "High 1", {"due": "2027-05-04", "master": "M-1"})
    (told,) = needs_of(shop, now=NOW)
    assert in_words(told.what) == "High 1: spin the master" and told.place == "/bench/M-1"
    for day in range(12, 0, -1):
        put_on(shop, "M-1", 0.4 if day > 2 else 0.8, at=NOW - timedelta(days=day, hours=-20))
    (told,) = needs_of(shop, now=NOW)
    assert told.sort == "wrong" and in_words(told.what) == "High 1 reads otherwise than it did"


def test_after_a_piece_comes_the_next_of_its_job_then_of_the_job_due_first(shop):
    def following(serial):
        found = next_piece(shop, find_piece(shop, serial), now=NOW)
        return found.serial if found else None

    with clock.made_up(NOW - timedelta(days=1)):
        for customer, due, serials in (
            ("Late", "2026-12-20", ("L-1", "L-2")),
            ("Soon", "2026-11-28", ("S-1",)),
        ):
            members = [Member(serial, "Larch 52") for serial in serials]
            add_job(shop, members, customer=customer, due=due)
    assert following("L-1") == "L-2"  # its own job first
    put_on(shop, "L-2", 1.4)
    assert following("L-1") == "S-1"  # what was never spun before what is begun
    put_on(shop, "S-1", 0.2)
    assert following("L-1") == "L-2"  # begun, not passed
    put_on(shop, "L-2", 0.2)
    assert following("L-2") == "L-1"
    put_on(shop, "L-1", 0.2)
    assert following("L-2") is None
