"""A blocking finding leaves no verdict anywhere; an inspector may let it stand, with a reason that is printed."""

import json

import pytest

from heavyspot import BadInput, Workshop, add_model, add_piece, cartridge_story, find_piece, spin
from heavyspot.cli.main import main
from heavyspot.quantities.said import Said, in_words
from heavyspot.sim.cartridge import make_cartridge
from heavyspot.sim.spin import SpinSettings
from heavyspot.sources.simulated import simulated_recording
from heavyspot.workshop.cartridge.overruling import overrule
from heavyspot.workshop.job.story import whole_story
from heavyspot.workshop.sheets.cartridge import make_report

MODEL = {
    "name": "Larch 52", "rotation": "clockwise", "rated_speed_rpm": 175_000, "test_speed_rpm": 150_000,
    "plane": [{"name": "nut", "radius_mm": 6.0}],
}  # fmt: skip


@pytest.fixture
def shop(tmp_path):
    made = Workshop(tmp_path / "data")
    add_model(made, MODEL)
    add_piece(made, "A-1", "Larch 52")
    yield made
    made.close()


def spun(shop, *faults, peak_g=0.3):
    unit = make_cartridge("Larch 52", 3, peak_g=peak_g)
    settings = SpinSettings(run_up_s=4.0, hold_s=0.4, coast_s=1.5, faults=faults)
    return spin(shop, "A-1", simulated_recording(unit, 1, settings))


def test_a_dead_sensor_is_no_pass_anywhere(shop):
    result = spun(shop, "sensor_dead")
    assert result.verdict == "undecided" and result.advice.action == "fix"
    assert result.as_json()["verdict"] == "undecided" and "hears nothing" in result.reason
    assert cartridge_story(shop, "A-1").runs[0].result.verdict == "undecided"
    assert find_piece(shop, "A-1").verdict == "undecided"
    report = make_report(shop, "A-1", number="1")
    assert report.verdict == "undecided" and report.reason == Said(
        "finding.sensor.dead", report.reason.values
    )


def test_nothing_to_overrule(shop):
    spun(shop)
    with pytest.raises(BadInput, match="Nothing stands against"):
        overrule(shop, "A-1", why="because")


def test_an_inspector_lets_it_stand_and_the_sheet_says_who_and_why(shop):
    result = spun(shop, "rub")
    assert result.verdict == "undecided" and result.judgement.measured
    with pytest.raises(BadInput, match="reason"):
        overrule(shop, "A-1", why=" ")
    told = overrule(shop, "A-1", why="Shield touches cold only; looked at.", by="Ines")
    assert told.verdict == result.judgement.measured
    assert find_piece(shop, "A-1").verdict == told.verdict
    run = cartridge_story(shop, "A-1").as_json()["runs"][0]
    assert run["verdict"] == told.verdict and run["overruled"]["by"] == "Ines"
    report = make_report(shop, "A-1", number="1")
    assert report.verdict == told.verdict
    assert report.overruled is not None
    assert report.overruled.values["who"] == "Ines" and "cold only" in in_words(report.overruled)
    kinds = [e.kind for e in whole_story(shop, "A-1")]
    assert kinds[-1] == "overruled"
    with pytest.raises(BadInput, match="Nothing stands against"):
        overrule(shop, "A-1", why="Again.", by="Ines")


def test_nothing_measured_cannot_be_overruled(shop):
    spun(shop, "two_poles")
    with pytest.raises(BadInput, match="no curve"):
        overrule(shop, "A-1", why="It turns well.", by="Ines")


def test_overruled_on_the_command_line(shop, capsys, monkeypatch):
    spun(shop, "rub")
    said = ["overrule", "A-1", "--why", "Looked at.", "--by", "Ines", "--json"]
    monkeypatch.setattr("sys.argv", ["heavyspot", "--data", str(shop.book.folder), *said])
    with pytest.raises(SystemExit) as done:
        main()
    assert not done.value.code
    assert json.loads(capsys.readouterr().out)["why"] == "Looked at."


def test_a_later_run_is_not_compared_with_one_that_was_not_the_rotors(shop):
    assert spun(shop, "sensor_dead").verdict == "undecided"
    assert spun(shop).verdict == "pass"
