"""What a run says of the cut before it: mistakes put in on two rigs, and cuts made as recorded."""

from dataclasses import replace
from typing import Any

import numpy as np
import pytest
from loop.loop import Rig, balance, speeds_of, verdict_of
from loop.run import maker

from heavyspot.balance.cut.candidates import MOST_RISE
from heavyspot.balance.cut.doubt import (
    AS_RECORDED,
    HOW_OFTEN,
    check_said,
    doubtful,
    explanation_said,
    explanations,
)
from heavyspot.balance.cut.history import History, MadeCut
from heavyspot.balance.cut.prior import wide_prior
from heavyspot.balance.cut.response import estimate
from heavyspot.balance.cut.trial_cut import typical_response
from heavyspot.quantities.said import LANGUAGES, in_words
from heavyspot.workshop.cartridge.advising import advise_vectors
from heavyspot.workshop.model.other_units import Lesson, priors_of

SEEDS = range(14)


@pytest.fixture(scope="module", params=["Alder 64", "Rowan 95"])
def known(request):
    model, make = maker(request.param)
    library: list[Lesson] = []
    for s in range(5000, 5024):
        balance(model, make(s), s, library)
    return model, make, priors_of(library, model, speeds_of(model), rig="rig")


def after(known, seed, grind, change=lambda v: v):
    """Return the explanations after a cut of 80 % of the vector, ground by `grind(rig, angle, amount)`."""
    model, make, priors = known
    speed = speeds_of(model)
    rig = Rig(make(seed), speed, np.random.default_rng([seed, 5]))
    first = rig.spin()
    noise = np.full((1, speed.size), 0.002)
    before = estimate(History(speed, first[None], noise), priors, model.as_scatter())
    k = np.abs(first).argmax()
    cut = complex(0.8 * first[k] / before.mean_response["nut"][k])
    grind(rig, float(np.rad2deg(np.angle(cut))), abs(cut))
    runs = np.stack([first, change(rig.spin())])
    history = History(speed, runs, np.full(runs.shape, 0.002), (MadeCut(1, "nut", cut),))
    return explanations(history, before, model.as_scatter())


MISTAKES = {
    "not_made": lambda rig, angle, amount: None,
    "half_a_turn": lambda rig, angle, amount: rig.grind("nut", angle + 180, amount),
    "other_plane": lambda rig, angle, amount: rig.grind("turbine hub", angle, amount),
}


@pytest.mark.parametrize("code", ["not_made", "half_a_turn", "other_plane"])
def test_a_mistake_is_among_the_first_two_and_stops_the_work(known, code):
    found = [after(known, s, MISTAKES[code]) for s in SEEDS]
    assert sum(code in (e[0].code, e[1].code) for e in found) >= 0.9 * len(found)
    assert sum(doubtful(e) for e in found) >= 0.9 * len(found)


def test_a_mirrored_clock_is_named_where_it_changes_anything(known):
    """A cut at the mark or half a turn from it lies at the same place in the mirror."""
    named = asked = 0
    for s in SEEDS:
        angles: list[float] = []

        def grind(rig, angle, amount, angles=angles):
            angles.append(angle)
            rig.grind("nut", -angle, amount)

        found = after(known, s, grind)
        if 40 < abs(angles[0]) < 140:
            asked += 1
            named += "mirrored" in (found[0].code, found[1].code) and doubtful(found)
    assert asked >= 4 and named >= 0.8 * asked


def test_a_mark_that_moved_by_a_quarter_turn_is_mostly_seen(known):
    """Where the cut left little, what is left points anywhere: nothing can be told from it."""
    found = [after(known, s, lambda r, a, m: None, lambda v: 1j * v) for s in SEEDS]
    assert sum(doubtful(e) for e in found) >= 0.75 * len(found)


def test_a_cut_as_recorded_is_left_in_peace(known):
    found = [after(known, s, lambda r, a, m: r.grind("nut", a, m)) for s in SEEDS]
    assert sum(doubtful(e) for e in found) <= 1
    for e in found:
        assert sum(x.chance for x in e) == pytest.approx(1.0)
        assert [x.chance for x in e] == sorted((x.chance for x in e), reverse=True)


def first_cut(known, seed, *, made):
    """Return the history of a first cut from an empty ledger, meant to change a third, and what was believed."""
    model, make, priors = known
    speed = speeds_of(model)
    rig = Rig(make(seed), speed, np.random.default_rng([seed, 6]))
    first = rig.spin()
    k = np.abs(first).argmax()
    cut = complex(0.35 * first[k] / priors["nut"].mean[k])
    if made:
        rig.grind("nut", float(np.rad2deg(np.angle(cut))), abs(cut))
    runs = np.stack([first, rig.spin()])
    history = History(speed, runs, np.full(runs.shape, 0.002), (MadeCut(1, "nut", cut),))
    typical = typical_response(speed, model.test_speed_rpm)
    wide = dict.fromkeys(priors, wide_prior(speed, typical, history.sensor))
    return history, estimate(history.before(1), wide, model.as_scatter(), draws=60)


def of_first_cut(known, seed, *, made):
    history, before = first_cut(known, seed, made=made)
    return explanations(history, before, known[0].as_scatter())


def test_a_first_cut_of_an_empty_ledger_that_was_not_made_is_thought_of(known):
    """Nobody knows what it should do, and it may have been small: its chance is several times what it was."""
    told = [of_first_cut(known, s, made=False) for s in SEEDS]
    near = [e for e in told if "not_made" in (e[0].code, e[1].code)]
    assert len(near) >= 0.9 * len(told)
    chances = [x.chance for e in near for x in e if x.code == "not_made"]
    assert np.median(chances) > 3 * HOW_OFTEN["not_made"]


def test_a_first_cut_of_an_empty_ledger_that_was_made_is_left_in_peace(known):
    told = [of_first_cut(known, s, made=True) for s in SEEDS]
    assert sum(doubtful(e) for e in told) <= 0.2 * len(told)  # a look costs a press


def test_nothing_is_said_before_any_cut(known):
    model, _, _ = known
    history, before = first_cut(known, 1, made=True)
    assert explanations(history.before(1), before, model.as_scatter()) == ()


def test_every_explanation_has_its_words_and_its_check_in_every_language(known):
    found = after(known, 1, MISTAKES["half_a_turn"])
    assert {e.code for e in found} == set(HOW_OFTEN) and AS_RECORDED in HOW_OFTEN
    for e in found:
        for language in LANGUAGES:
            assert in_words(explanation_said(e), language) and in_words(check_said(e), language)


def advised(known, cuts, vectors):
    model, _, priors = known
    speed = speeds_of(model)
    history = History(
        speed, np.stack(vectors), np.full((len(vectors), speed.size), 0.002), tuple(cuts)
    )
    judgement = verdict_of(model, speed, vectors[-1])
    return advise_vectors(history, model, [], priors, judgement)[0]


def test_nothing_is_ground_after_a_cut_half_a_turn_off_until_somebody_says_what_it_was(known):
    model, make, _ = known
    speed = speeds_of(model)
    seed = next(s for s in SEEDS if Rig(make(s), speed, np.random.default_rng(s)).true_peak() > 0.8)
    rig = Rig(make(seed), speed, np.random.default_rng([seed, 5]))
    vectors = [rig.spin()]
    first = advised(known, [], vectors)
    asked = next(c for c in first.cuts if c.plane == "nut")
    rig.grind("nut", asked.angle_deg + 180, asked.unbalance_gmm)
    vectors.append(rig.spin())
    cut = MadeCut(1, "nut", complex(asked.unbalance_gmm * np.exp(1j * np.deg2rad(asked.angle_deg))))
    told = advised(known, [cut], vectors)
    assert told.action == "fix" and not told.cuts
    assert (
        "half_a_turn" in {e.code for e in told.doubts[:2]}
        and "does not fit its record" in told.reason
    )
    righted = replace(cut, removed=-cut.removed, knowingly=True)
    assert advised(known, [righted], vectors).action == "cut"  # amended, it goes on
    for _ in range(3):  # one more run asks the same again
        vectors.append(rig.spin())
        assert advised(known, [cut], vectors).action == "fix"
    assert advised(known, [replace(cut, knowingly=True)], vectors).action != "fix"


def test_after_a_cut_that_made_it_worse_somebody_looks_and_far_above_the_first_run_an_inspector(
    known,
):
    """Also where nothing is known of the model, and so nothing was foretold."""
    model, make, _ = known
    speed = speeds_of(model)
    first = Rig(make(3), speed, np.random.default_rng(3)).spin()
    first *= 1.5 / np.abs(first).max()
    unknown: tuple[Any, Any, dict[str, Any]] = (model, make, {})
    trial, cut = MadeCut(1, "nut", 0.1 + 0j), MadeCut(2, "nut", 0.1 + 0j)
    little = MadeCut(1, "nut", 0.01 + 0j)
    told = advised(unknown, [trial], [first, 1.2 * first])
    assert "made it worse" not in told.reason  # it was said that it may
    shown = [first, 0.7 * first]  # now its response is known
    worse = [*shown, 1.2 * shown[1]]
    told = advised(unknown, [little, cut], [first, first, 1.2 * first])
    assert "made it worse" not in told.reason  # it was not
    told = advised(unknown, [trial, cut], worse)
    assert told.action == "fix" and "made it worse" in told.reason
    assert advised(unknown, [trial, cut], [*worse, worse[2]]).action == "fix"
    assert advised(unknown, [trial, replace(cut, looked=True)], worse).action == "cut"
    far = [first, 1.6 * first]
    looked = advised(unknown, [replace(trial, looked=True)], far)
    assert looked.action == "fix" and "1.6 times" in looked.reason
    assert advised(unknown, [replace(trial, knowingly=True)], far).action == "cut"
    assert advised(unknown, [], far).action == "cut"  # nothing ground: no cut is to blame


def test_no_cut_is_advised_whose_worst_is_far_above_what_is_there(known):
    model, make, priors = known
    speed = speeds_of(model)
    for seed in SEEDS:
        first = Rig(make(seed), speed, np.random.default_rng(seed)).spin()
        libraries: tuple[dict[str, Any], ...] = (priors, {})
        for library in libraries:
            told = advised((model, make, library), [], [first])
            if told.action == "cut":
                assert told.predicted is not None
                high = np.max(told.predicted.high_g / model.house_limit().at(speed))
                now = np.max(np.abs(first) / model.house_limit().at(speed))
                assert high <= 1.05 * MOST_RISE * now, seed


def test_two_cuts_that_made_it_worse_stop_the_work(known):
    model, make, _ = known
    speed = speeds_of(model)
    rig = Rig(make(3), speed, np.random.default_rng(3))
    first = rig.spin()
    first *= 1.5 / np.abs(first).max()
    unknown: tuple[Any, Any, dict[str, Any]] = (model, make, {})
    cuts = [MadeCut(1, "nut", 0.01 + 0j), MadeCut(2, "nut", 0.01 + 0j)]
    cuts = [replace(c, looked=True) for c in cuts]
    assert advised(unknown, cuts[:1], [first, 1.2 * first]).action == "cut"
    told = advised(unknown, cuts, [first, 1.2 * first, 1.4 * first])
    assert told.action == "fix" and "each made it worse" in told.reason
    assert advised(unknown, cuts, [first, 1.2 * first, 1.1 * first]).action == "cut"
    again = advised(unknown, cuts, [first, 1.2 * first, 1.4 * first, 1.4 * first])
    assert again.action == "fix"  # one more run does not say why
    let = [cuts[0], replace(cuts[1], knowingly=True)]
    assert advised(unknown, let, [first, 1.2 * first, 1.4 * first]).action == "cut"
