"""The set-up: said anew before each spin, operator and oil kept, what cannot be refused."""

import json
import time

import pytest
from loop.loop import model_of
from workshop.entries import run_of, story_of

from heavyspot.quantities.errors import BadInput
from heavyspot.workshop.bench.set_up import SetUp, SetUps, checked_operator
from heavyspot.workshop.taking.oil import checked_oil

MODEL = model_of("Larch 52", 150_000.0, 52.0)


def test_both_are_said_and_a_second_touch_takes_it_back():
    ups, story = SetUps(), story_of(MODEL)
    with pytest.raises(BadInput, match="not said"):
        ups.of(story).refuse_unsaid()
    ups.say("P-1", "guard")
    ups.say("P-1", "oil")
    ups.of(story).refuse_unsaid()
    ups.say("P-1", "oil")
    assert ups.of(story).said == {"guard"}
    with pytest.raises(BadInput, match="Nothing is asked"):
        ups.say("P-1", "air")


def test_a_spin_uses_the_yes_up():
    ups = SetUps()
    for what in ("guard", "oil"):
        ups.say("P-1", what)
    ups.spun("P-1")
    assert not ups.of(story_of(MODEL)).ready


def test_a_yes_is_one_piece_s():
    ups = SetUps()
    ups.say("P-2", "guard")
    assert ups.of(story_of(MODEL)).said == frozenset()


def test_operator_and_oil_are_kept_from_one_piece_to_the_next():
    ups = SetUps()
    ups.keep("Ines", (62.0, 300.0))
    ups.keep("", (None, None))
    kept = ups.of(story_of(MODEL))
    assert kept.operator == "Ines" and kept.fresh_oil() == (62.0, 300.0)


def test_else_they_come_from_the_piece_s_last_run():
    run = run_of(by="Ole")
    run.conditions["recording"] = {"oil": {"temperature_c": 70.0, "pressure_kpa": 310.0}}
    kept = SetUps().of(story_of(MODEL, [run]))
    assert (kept.operator, kept.oil) == ("Ole", (70.0, 310.0))


def test_oil_read_an_hour_ago_is_read_anew():
    kept = SetUp("Ines", (62.0, 300.0), oil_at_s=1_000.0)
    assert kept.fresh_oil(1_000.0 + 3_599) == (62.0, 300.0)
    assert kept.fresh_oil(1_000.0 + 3_601) == (None, None)


@pytest.mark.parametrize("oil", [(900.0, 300.0), (-60.0, 300.0), (62.0, -1.0), (62.0, 90_000.0)])
def test_oil_that_is_none_is_refused(oil):
    with pytest.raises(BadInput, match="can only be"):
        checked_oil(*oil)
    assert checked_oil(62.0, None) == (62.0, None)


def test_a_name_with_what_nobody_sees_is_refused():
    with pytest.raises(BadInput, match="not seen"):
        checked_operator("Ines\u202e")


def test_operator_and_oil_outlive_a_restart_and_no_yes_does(tmp_path):
    kept_in = tmp_path / "set-up.json"
    ups = SetUps(kept_in)
    ups.say("P-1", "guard")
    ups.keep("Ines", (62.0, 300.0))
    again = SetUps(kept_in).of(story_of(MODEL))
    assert (again.operator, again.fresh_oil(), again.said) == ("Ines", (62.0, 300.0), frozenset())


def test_oil_that_was_read_in_the_future_is_read_anew(tmp_path):
    """A clock set back must not make an old reading fresh."""
    kept_in = tmp_path / "set-up.json"
    SetUps(kept_in).keep("Ines", (62.0, 300.0))
    kept = json.loads(kept_in.read_text())
    kept_in.write_text(json.dumps(kept | {"oil_at_s": time.time() + 3_000}))
    again = SetUps(kept_in).of(story_of(MODEL))
    assert again.operator == "Ines" and again.fresh_oil() == (None, None)


TORN = ("", "{", "[]", '{"operator": 3}', '{"operator": "a", "oil": [900, 1], "oil_at_s": 1}')


@pytest.mark.parametrize("torn", TORN)
def test_what_is_kept_and_no_longer_readable_is_nothing(tmp_path, torn):
    (tmp_path / "set-up.json").write_text(torn)
    assert SetUps(tmp_path / "set-up.json").of(story_of(MODEL)) == SetUp()
