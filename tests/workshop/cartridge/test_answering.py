"""A doubted cut stays in doubt until somebody says what it was; the answer makes the advice anew at once."""

from dataclasses import replace

import numpy as np
import pytest
from workshop.cartridge.test_spin import QUICK

from heavyspot import add_piece, cartridge_story, ground, looked, spin, unground
from heavyspot.quantities.errors import BadInput
from heavyspot.sim.cartridge import make_cartridge
from heavyspot.sources.simulated import simulated_recording
from heavyspot.workshop.cartridge.answering import newest_cuts
from heavyspot.workshop.cartridge.question import next_question
from heavyspot.workshop.job.story import whole_story
from heavyspot.workshop.model.other_units import lessons_of


@pytest.fixture
def piece(shop):
    add_piece(shop, "A-1", "Larch 52")
    unit = make_cartridge("Larch 52", 3, peak_g=1.2)
    spin(shop, "A-1", simulated_recording(unit, 1, QUICK))
    return unit


def last_of(shop):
    """The piece's last run."""
    last = cartridge_story(shop, "A-1").last
    assert last is not None
    return last


def off_by_half_a_turn(shop, unit):
    """Grind the first advice half a turn off, as large as it helps, and spin."""
    asked = last_of(shop).result.advice.cuts[0]
    unit = unit.ground(asked.plane, asked.angle_deg + 180, 2 * asked.unbalance_gmm)
    ground(
        shop, "A-1", asked.plane, asked.angle_deg, unbalance_gmm=2 * asked.unbalance_gmm, by="Jon"
    )
    told = spin(shop, "A-1", simulated_recording(unit, 2, QUICK))
    return unit, told.advice


def test_worse_after_a_cut_is_looked_at_and_spinning_again_is_no_answer(shop, piece):
    unit, told = off_by_half_a_turn(shop, piece)
    assert told.action == "fix" and not told.cuts
    again = spin(shop, "A-1", simulated_recording(unit, 3, QUICK)).advice
    assert again.action == "fix" and not again.cuts
    assert next_question(cartridge_story(shop, "A-1")) == "fix"
    assert len(newest_cuts(cartridge_story(shop, "A-1"))) == 1


def test_an_amendment_makes_the_advice_anew_in_one_press(shop, piece):
    unit, _ = off_by_half_a_turn(shop, piece)
    wrong = cartridge_story(shop, "A-1").made[0]
    ground(
        shop, "A-1", wrong.plane, wrong.angle_deg + 180, unbalance_gmm=wrong.unbalance_gmm,
        replaces=wrong.id, why="half a turn off", by="Jon",
    )  # fmt: skip
    story = cartridge_story(shop, "A-1")
    advice = last_of(shop).result.advice
    assert advice.action == "cut" and next_question(story) == "grind"
    asked = [c for c in story.asked if c.after_run == story.number]
    assert [(c.plane, c.angle_deg) for c in asked] == [(c.plane, c.angle_deg) for c in advice.cuts]
    before = last_of(shop).result.worst.amplitude_g
    for c in advice.cuts:
        unit = unit.ground(c.plane, c.angle_deg, c.unbalance_gmm)
        ground(shop, "A-1", c.plane, c.angle_deg, unbalance_gmm=c.unbalance_gmm)
    after = spin(shop, "A-1", simulated_recording(unit, 4, QUICK)).judgement
    assert after is not None and after.worst.amplitude_g < 0.7 * before
    said = [e for e in whole_story(shop, "A-1") if e.kind == "looked"]
    assert [(e.by, e.text, e.number) for e in said] == [("Jon", "half a turn off", 2)]


def test_what_a_wrong_entry_taught_is_withdrawn_with_it(shop, piece):
    off_by_half_a_turn(shop, piece)
    story = cartridge_story(shop, "A-1")
    plane = story.made[0].plane

    def lesson():
        found = [
            x
            for x in lessons_of(shop.book, story.model, not_piece="", rig="simulated rig")
            if x.plane == plane
        ]
        return found[0].response if found else None

    taught = lesson()
    wrong = story.made[0]
    ground(
        shop, "A-1", plane, wrong.angle_deg + 180, unbalance_gmm=wrong.unbalance_gmm,
        replaces=wrong.id, why="half a turn off",
    )  # fmt: skip
    righted = lesson()
    assert taught is not None and righted is not None
    alike = (np.conj(taught) * righted).sum() / (np.abs(taught) * np.abs(righted)).sum()
    assert alike.real < -0.8  # it had learnt the opposite
    unground(shop, "A-1", cartridge_story(shop, "A-1").made[0].id, why="was on another piece")
    assert lesson() is None and cartridge_story(shop, "A-1").made == ()


def test_who_looked_goes_on_and_far_above_the_first_run_only_knowingly(shop, piece):
    off_by_half_a_turn(shop, piece)
    story = looked(shop, "A-1", by="Ida")
    last = story.last
    assert last is not None and last.result.looked == (story.made[0].id,)
    if last.result.advice.action == "fix":  # more than half as much again as at first
        assert [w.code for w in last.result.advice.why_said] == ["advice.above_first"]
        with pytest.raises(BadInput, match="needs a reason"):
            looked(shop, "A-1", knowingly=True)
        story = looked(
            shop, "A-1", knowingly=True, why="the wheel was turned on the shaft", by="Rut"
        )
        assert story.last is not None and story.last.result.knowingly == (story.made[0].id,)
    assert story.last is not None and story.last.result.advice.action == "cut"
    with pytest.raises(BadInput, match="Nothing is asked"):
        looked(shop, "A-1")


def test_a_blocking_finding_outlasts_any_answer(shop, piece):
    _, told = off_by_half_a_turn(shop, piece)
    assert told.action == "fix"
    turned = replace(simulated_recording(piece, 5, QUICK), rotation="counterclockwise")
    spin(shop, "A-1", turned)
    story = looked(shop, "A-1", knowingly=True, why="in a hurry")
    assert story.last is not None and story.last.result.advice.action == "fix"
    assert story.last.result.verdict == "undecided"


def test_before_any_cut_nothing_is_to_be_looked_at(shop):
    add_piece(shop, "A-2", "Larch 52")
    with pytest.raises(BadInput, match="Nothing is asked"):
        looked(shop, "A-2")
