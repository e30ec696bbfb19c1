"""Jobs, amendments, rigs and what a standing rig says."""

from typing import Any

import numpy as np
import pytest

from heavyspot.quantities.errors import BadInput, LedgerFault, NotThere
from heavyspot.sim.cartridge import SIZES, make_cartridge
from heavyspot.sim.spin import SpinSettings
from heavyspot.sources.live import StandingLive
from heavyspot.sources.simulated import simulated_recording
from heavyspot.workshop.bench.setup_check import listen
from heavyspot.workshop.cartridge.grinding import ground_as_advised, unground
from heavyspot.workshop.cartridge.spinning import spin
from heavyspot.workshop.cartridge.story import cartridge_story
from heavyspot.workshop.job.editing import Member, add_job, amend_job, amend_piece, find_job
from heavyspot.workshop.job.pieces import add_piece
from heavyspot.workshop.rig.record import add_rig, find_rig
from heavyspot.workshop.shop import find_piece


def twins():
    return [Member("T-1", "Larch 52", "left"), Member("T-2", "Larch 52", "right")]


def test_a_job_is_all_or_nothing(shop):
    add_piece(shop, "T-2", "Larch 52")
    with pytest.raises(LedgerFault, match="T-2"):
        add_job(shop, twins(), customer="Fjord Haulage")
    assert shop.book.jobs.piece("T-1") is None
    with pytest.raises(BadInput, match="twice"):
        add_job(shop, [Member("A", "Larch 52", "left"), Member("B", "Larch 52", "left")])
    with pytest.raises(BadInput, match="no piece"):
        add_job(shop, [])
    with pytest.raises(BadInput, match="no date"):
        add_job(shop, [Member("A", "Larch 52")], due="soon")


def test_amendments_leave_what_was(shop):
    job = add_job(shop, twins(), customer="Fjord Haulage", invoice="77", due="2026-12-01")
    amend_job(shop, job, {"customer": "Fjord Haulage Ltd"}, by="Ines", why="their full name")
    assert find_job(shop, job).customer == "Fjord Haulage Ltd"
    assert find_piece(shop, "T-1").customer == "Fjord Haulage Ltd"
    assert amend_piece(shop, "T-1", {"serial": "T-11"}, by="Ines", why="a digit") == "T-11"
    assert shop.book.jobs.piece("T-1") is None and find_piece(shop, "T-11").position == "left"
    add_piece(shop, "T-1", "Larch 52")  # the number is free again
    with pytest.raises(LedgerFault, match="T-2"):
        amend_piece(shop, "T-11", {"serial": "T-2"}, by="", why="x")
    with pytest.raises(BadInput, match="reason"):
        amend_piece(shop, "T-11", {"position": "front"}, by="", why=" ")
    with pytest.raises(BadInput, match="different"):
        amend_piece(shop, "T-11", {"position": "left"}, by="", why="x")
    kept = shop.book.jobs.amendments(find_piece(shop, "T-11").id)
    assert [(a.content, a.by, a.why) for a in kept] == [({"serial": "T-11"}, "Ines", "a digit")]
    # a piece added to an amended job's invoice joins it, under the amended name
    add_piece(shop, "T-3", "Larch 52", customer="Fjord Haulage Ltd", invoice="77")
    assert find_piece(shop, "T-3").job_id == job


def test_the_model_of_a_spun_piece_stays(shop):
    add_piece(shop, "M-1", "Larch 52")
    amend_piece(shop, "M-1", {"model": "Larch 38"}, by="", why="misread")
    spin(shop, "M-1", simulated_recording(make_cartridge(SIZES["Larch 38"], 3), 1))
    with pytest.raises(BadInput, match="judged as Larch 38"):
        amend_piece(shop, "M-1", {"model": "Larch 52"}, by="", why="misread")


def test_a_cut_never_made_is_amended(shop):
    add_piece(shop, "C-1", "Larch 52")
    spin(shop, "C-1", simulated_recording(make_cartridge(SIZES["Larch 52"], 4, peak_g=1.5), 1))
    ground_as_advised(shop, "C-1")
    ground_as_advised(shop, "C-1")
    cuts = cartridge_story(shop, "C-1").made
    assert len(cuts) == len(cartridge_story(shop, "C-1").runs[0].result.advice.cuts)
    with pytest.raises(BadInput, match="reason"):
        unground(shop, "C-1", cuts[0].id, why="")
    unground(shop, "C-1", cuts[0].id, why="pressed by mistake")
    assert len(cartridge_story(shop, "C-1").made) == len(cuts) - 1
    with pytest.raises(NotThere, match="no cut"):
        unground(shop, "C-1", cuts[0].id, why="again")


def test_rigs_are_checked(shop):
    sensor = {"name": "housing", "sensitivity": 100, "unit": "mV/g", "due": "2027-01-01"}
    add_rig(shop, "north", {"kind": "high-speed rig", "due": "2027-03-01", "sensors": [sensor]})
    assert find_rig(shop, "north").next_due() == "2027-01-01"
    for wrong in ({"due": "soon"}, {"colour": "red"}, {"sensors": [{"name": ""}]}):
        with pytest.raises(BadInput):
            add_rig(shop, "north", wrong)


def standing(**kw):
    unit = make_cartridge(SIZES["Larch 52"], 1)
    return StandingLive(unit, 5, settings=SpinSettings(**kw), pace=50.0)


def test_listening_to_a_standing_rig():
    kw: dict[str, Any] = {
        "limit_g": 0.5,
        "from_rpm": 22_500.0,
        "pickup_last": 2.0,
        "top_rpm": 150_000.0,
    }
    assert [c.good for c in listen(standing(), **kw)] == [True, True, True]
    dead = listen(standing(faults=("sensor_dead",)), **kw)
    assert dead[0].good is False and dead[0].state == "dead"
    hum = listen(standing(hum_v=0.4), **kw)
    assert hum[-1].good is False and hum[-1].values["over_rpm"] == pytest.approx(30_000, rel=0.1)
    first = listen(standing(), **{**kw, "pickup_last": None})
    assert first[-1].good is None


@pytest.mark.parametrize("mains", [50.0, 60.0])
def test_hum_is_measured(mains):
    from heavyspot.signal.standing import standing_levels

    t = np.arange(20_000) / 20_000
    x = 0.3 * np.sin(2 * np.pi * mains * t + 1.0) + 0.1
    level = standing_levels(x[:, None], sample_rate_hz=20_000.0)[0]
    assert level.mains_hz == mains
    assert level.hum == pytest.approx(0.3, rel=1e-3)
    assert level.mean == pytest.approx(0.1, abs=1e-3)
