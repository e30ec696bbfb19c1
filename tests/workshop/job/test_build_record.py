"""The build record blocks what is out of limit until an inspector signs; a piece's whole story in order."""

import pytest

from heavyspot.quantities.errors import BadInput, LedgerFault
from heavyspot.sim.cartridge import make_cartridge
from heavyspot.sim.spin import SpinSettings
from heavyspot.sources.simulated import simulated_recording
from heavyspot.workshop.bench.bench import Bench
from heavyspot.workshop.cartridge.grinding import ground
from heavyspot.workshop.cartridge.spinning import spin
from heavyspot.workshop.job.build_record import build_state, sign_build, tell, write_build
from heavyspot.workshop.job.pieces import add_piece
from heavyspot.workshop.job.story import left_and_now, whole_story
from heavyspot.workshop.model.models import add_model, find_model

QUICK = SpinSettings(run_up_s=3.0, coast_s=1.0, sample_rate_hz=25_600.0)
LIMITS = {"end_play": (0.05, 0.09), "radial_play": (0.3, 0.5)}


@pytest.fixture
def built(shop):
    content = find_model(shop, "Larch 52").model_dump(mode="json", exclude_unset=True)
    add_model(shop, content | {"name": "Larch 54", "clearance_mm": LIMITS})
    add_piece(shop, "P-1", "Larch 54", customer="Tidal Works", by="Ida")
    return shop


def bench_of(shop):
    def none(_serial):
        raise AssertionError("nothing must be captured")

    return Bench(shop, none, none)


def test_a_model_without_clearances_asks_nothing(shop):
    add_piece(shop, "P-0", "Larch 52")
    assert build_state(shop, "P-0").state == "not asked"
    with pytest.raises(BadInput, match="states no clearances"):
        write_build(shop, "P-0", {"end_play": 0.07})


def test_out_of_limit_is_not_spun_until_an_inspector_signs(built):
    bench = bench_of(built)
    assert bench.question("P-1") == "build"
    with pytest.raises(LedgerFault, match="missing"):
        bench.spin("P-1")
    with pytest.raises(BadInput, match="radial play"):
        write_build(built, "P-1", {"end_play": 0.07})
    with pytest.raises(BadInput, match="not a number"):
        write_build(built, "P-1", {"end_play": "much", "radial_play": 0.4})
    state = write_build(built, "P-1", {"end_play": 0.12, "radial_play": 0.4}, gauge="G-7", by="Ida")
    assert state.state == "out" and "End play 0.12 mm" in state.why()
    with pytest.raises(LedgerFault, match="Out of limit"):
        bench.spin("P-1")
    with pytest.raises(BadInput, match="reason"):
        sign_build(built, "P-1", why=" ")
    assert sign_build(built, "P-1", why="customer's own bearing", by="Ole").state == "signed"
    assert bench.question("P-1") == "prepare"
    with pytest.raises(BadInput, match="Nothing is waiting"):
        sign_build(built, "P-1", why="again")
    # measured again, out again: the old signature does not cover it
    assert write_build(built, "P-1", {"end_play": 0.13, "radial_play": 0.4}).state == "out"
    assert write_build(built, "P-1", {"end_play": 0.07, "radial_play": 0.4}).state == "good"


def test_limits_are_those_it_was_measured_under(built):
    write_build(built, "P-1", {"end_play": 0.07, "radial_play": 0.4})
    content = find_model(built, "Larch 54").model_dump(mode="json", exclude_unset=True)
    add_model(
        built, content | {"clearance_mm": {"end_play": (0.01, 0.02), "radial_play": (0.3, 0.5)}}
    )
    assert build_state(built, "P-1").state == "good"


def test_the_whole_story_in_order(built):
    unit = make_cartridge("Larch 52", 5, peak_g=1.2)
    write_build(built, "P-1", {"end_play": 0.07, "radial_play": 0.4}, nut_torque_nm=12, by="Ida")
    spin(built, "P-1", simulated_recording(unit, 1, QUICK), operator="Ida", rig="north")
    ground(built, "P-1", "nut", 30.0, mass_mg=40.0, by="Ida")
    spin(built, "P-1", simulated_recording(unit, 2, QUICK), operator="Ida", rig="north")
    assert left_and_now(whole_story(built, "P-1")) is None
    tell(built, "P-1", "returned", "howls at half load", by="Una")
    tell(built, "P-1", "claim", "wants it replaced", by="Una")
    assert left_and_now(whole_story(built, "P-1")) is None  # not spun since
    spin(built, "P-1", simulated_recording(unit, 3, QUICK), operator="Ole", rig="north")
    events = whole_story(built, "P-1")
    assert [e.kind for e in events] == [
        "written", "build", "run", "cut", "run", "returned", "claim", "run",
    ]  # fmt: skip
    assert [e.at for e in events] == sorted(e.at for e in events)
    assert "12 Nm" in events[1].text and "nut, " in events[3].text
    assert left_and_now(events) == (2, 3)
    assert list(built.book.check_chain()) == []


def test_what_may_be_told(built):
    for kind, text, words in [
        ("run", "x", "cannot"),
        ("note", " ", "no text"),
        ("note", "x" * 2001, "long"),
    ]:
        with pytest.raises(BadInput, match=words):
            tell(built, "P-1", kind, text)
    with pytest.raises(LedgerFault, match="no piece"):
        tell(built, "nobody", "note", "x")
