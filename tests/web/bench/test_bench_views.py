"""What the bench says in each of its states, and what its buttons do."""

from dataclasses import replace
from typing import Any

import pytest
from conftest import there
from loop.loop import model_of
from workshop.entries import advice_json, cut_of, run_of, story_of

from heavyspot.ledger.records import Piece
from heavyspot.quantities.said import LANGUAGES, Said
from heavyspot.web.views.bench.at import At, RigState
from heavyspot.web.views.bench.ends import job_of
from heavyspot.web.views.bench.panel import panel_of
from heavyspot.web.views.bench.words import marked, plain
from heavyspot.workshop.bench.set_up import SetUp
from heavyspot.workshop.bench.setup_check import Check
from heavyspot.workshop.cartridge.curves_view import Foretold
from heavyspot.workshop.job.build_record import BuildState, Measured
from heavyspot.workshop.reading.kept import KeptCut

MODEL = model_of("Larch 52", 150_000.0, 52.0)
WORST = {
    "amplitude_g": 0.4, "uncertainty_g": 0.01, "speed_rpm": 149_500.0, "limit_g": 0.5, "ratio": 0.8,
}  # fmt: skip
READY = SetUp("Ines", said=frozenset(("guard", "oil")))
REAL = RigState("ok", "Rig A")


def a_run(number=1, **more):
    run = run_of(number=number)
    return replace(run, result={**run.result, "worst": WORST, **more})


def a_finding(severity, code="a.b", **evidence):
    return {
        "code": code, "severity": severity, "text": severity.upper(), "do": "act", "evidence": evidence,
    }  # fmt: skip


def at(question, runs=(), cuts=(), advised=(), **more):
    given: dict[str, Any] = {"rig": REAL, "build": BuildState("not asked"), "set_up": READY}
    return At(question, story_of(MODEL, runs, cuts), advised=tuple(advised), **(given | more))


def a_cut(plane="nut", angle_deg=225.0, depth_mm=0.31):
    return KeptCut(plane, angle_deg, "4:30", 5.0, 0.03, depth_mm)


def said(question, *given, **more):
    return panel_of(at(question, *given, **more)).told


def test_the_order_stands_in_the_sentence_as_the_eye_sees_it():
    # seen from the nut of a rotor that turns clockwise 225 degrees against rotation is half past four
    assert said("grind", [a_run()], advised=[a_cut()]) == "Grind the nut at 4:30, 0.31 mm deep."
    turbine = MODEL.plane[0].model_copy(update={"seen_from": "turbine"})
    mirrored = MODEL.model_copy(update={"plane": [turbine, *MODEL.plane[1:]]})
    story = replace(story_of(MODEL, [a_run()]), model=mirrored)
    view = panel_of(replace(at("grind", [a_run()], advised=[a_cut()]), story=story))
    assert view.told == "Grind the nut at 7:30, 0.31 mm deep."
    heading = there(view.advice).dials[0].heading
    assert plain(heading) == "nut, seen from the turbine"


def test_two_cuts_are_two_orders_and_both_are_written_down():
    same = panel_of(at("grind", [a_run()], advised=[a_cut(), a_cut(angle_deg=205.0)]))
    assert len(same.asked.lines) == 2 and there(same.advice).layout == "same"
    pedal = there(same.asked.pedal)
    assert pedal.verb == "as-advised" and plain(there(pedal.small)) == "every cut is written down"
    other = MODEL.plane[1].name
    two = panel_of(at("grind", [a_run()], advised=[a_cut(), a_cut(other)]))
    assert there(two.advice).layout == "planes" and len(there(two.advice).dials) == 2


def test_a_trial_cut_says_the_worst_that_may_come_of_it():
    trial = [a_run(advice=advice_json(trial=True, chance_of_pass=0.3))]
    told = Foretold(likely_g=1.0, worst_g=14.6, worst_ratio=29.2, now_ratio=3.3)
    words = said("grind", trial, advised=[a_cut()], foretold=told)
    assert "May get worse: 14.6 g, 29.2 times the limit." in words
    better = replace(told, worst_g=1.2, worst_ratio=2.4)
    assert "At worst 1.2 g, 2.4 times" in said("grind", trial, advised=[a_cut()], foretold=better)
    assert there(panel_of(at("grind", trial, advised=[a_cut()])).advice).chance is None


def test_what_is_not_known_leads_before_any_chance():
    short = a_finding("warn", "speed.not_reached", speed_rpm=93_000.0, test_rpm=150_000.0)
    runs = [a_run(findings=[short], advice=advice_json(chance_of_pass=0.97))]
    view = panel_of(at("grind", runs, advised=[a_cut()]))
    assert "Seen only to 93,000 of 150,000 rpm" in view.told
    assert there(view.advice).chance is None
    assert there(panel_of(at("grind", [a_run()], advised=[a_cut()])).advice).chance


@pytest.mark.parametrize(
    ("chance", "words", "discs"),
    [(0.93, "9 of 10", True), (0.96, "96 %", False), (0.4, "40 %", False), (0.999, "99 %", False)],
)
def test_ten_discs_show_a_chance_where_they_can(chance, words, discs):
    runs = [a_run(advice=advice_json(chance_of_pass=chance))]
    told = there(there(panel_of(at("grind", runs, advised=[a_cut()])).advice).chance)
    assert plain(told.words) == words and bool(told.pips) == discs


def test_nothing_spins_before_both_were_said():
    open_ = panel_of(at("prepare", set_up=SetUp("Ines", said=frozenset(("guard",)))))
    assert open_.asked.pedal is None and open_.asked.off
    assert [(r.yes, r.said) for r in open_.rows if r.yes] == [("guard", True), ("oil", False)]
    pedal = there(panel_of(at("prepare")).asked.pedal)
    assert pedal.verb == "spin" and pedal.hold


@pytest.mark.parametrize("question", ["prepare", "grind", "again", "fix", "done", "rescue"])
def test_whatever_spins_is_held_and_nothing_else_is(question):
    view = panel_of(at(question, [a_run()], advised=[a_cut()]))
    for press in filter(None, (view.asked.pedal, *view.asked.others)):
        assert press.hold == (press.verb == "spin"), press


def test_without_a_rig_nothing_spins_and_nothing_is_invented():
    view = panel_of(at("prepare", rig=RigState("none")))
    assert view.told == "No rig: nothing can be spun."
    assert there(view.asked.pedal).verb == "listen"
    assert view.rows[0].sign == "no"


def test_a_simulated_rig_is_named_in_the_sentence_and_across_the_chart():
    view = panel_of(at("prepare", rig=RigState("simulated")))
    assert "simulated" in view.told and '"simulated": "simulated"' in view.chart
    assert '"simulated": ""' in panel_of(at("prepare")).chart


def test_a_failed_check_stands_first_and_the_pedal_is_off():
    heard = [
        Check("housing", "alive", True, {"rms_mg": 7.5}),
        Check("housing", "hum", False, {"mains_hz": 50.0, "hum_mg": 120.0, "allowed_mg": 50.0}),
        Check("pickup", "pickup_new", None),
    ]
    view = panel_of(at("prepare", heard=heard))
    assert [r.sign for r in view.rows][:2] == ["no", "ok"] and view.asked.pedal is None
    assert view.told == "Not ready. Mains hum. Check the sensor’s earth and cable."
    assert any(p.verb == "spin" for p in view.asked.others)  # an adviser, never an interlock


def test_oil_outside_the_model_is_a_failed_check():
    model = MODEL.model_copy(update={"oil_temperature_c": (60.0, 90.0)})
    cold = replace(READY, oil=(41.0, 300.0), oil_at_s=10e9)
    where = at("prepare", set_up=cold)
    view = panel_of(replace(where, story=replace(where.story, model=model)))
    assert view.rows[0].sign == "no" and plain(view.rows[0].title) == "Oil 41 °C"
    assert view.asked.pedal is None


def test_oil_read_long_ago_is_asked_anew():
    old = SetUp("Ines", (62.0, 300.0), oil_at_s=1.0)
    tiles = panel_of(at("prepare", set_up=old)).tiles
    assert [t.value for t in tiles] == ["Ines", "", ""] and "anew" in plain(tiles[1].label)
    fresh = panel_of(at("prepare", set_up=replace(old, oil_at_s=10e9))).tiles
    assert [t.value for t in fresh] == ["Ines", "62", "300"]


@pytest.mark.parametrize(("share", "sign"), [(0.91, "ok"), (0.9, "ask"), (0.2, "ask")])
def test_the_pickup_is_right_when_it_gives_the_mark_and_little_else(share, sign):
    rows = panel_of(at("prepare", [a_run(pickup=(1.2, share))])).rows
    assert next(r for r in rows if plain(r.title) == "Magnet and gap").sign == sign


def test_findings_that_forbid_a_cut_lead():
    found = [a_finding(s) for s in ("note", "block", "warn")]
    view = panel_of(at("fix", [a_run(findings=found)]))
    assert [f.sign for f in view.findings] == ["no", "ask", "open"]
    assert view.told.startswith("Do not grind. BLOCK")


def test_what_is_not_unbalance_is_never_ground():
    whirl = a_finding(
        "block", "oil.sub_synchronous", order=0.46, amplitude_g=1.05, speed_rpm=120_000.0
    )
    view = panel_of(at("fix", [a_run(findings=[whirl])]))
    assert view.layout == "not-unbalance" and view.spectrum_rpm == 120_000.0
    assert view.told.startswith("Not unbalance. Do not grind.")
    verbs = {p.verb for p in filter(None, (view.asked.pedal, *view.asked.others))}
    assert not verbs & {"as-advised", "ground"}


def doubted(cuts):
    doubts = [
        {"code": c, "chance": p, "plane": "", "angle_deg": 0.0, "factor": 1.0}
        for c, p in (("half_a_turn", 0.7), ("mirrored", 0.2), ("not_made", 0.1))
    ]
    told = advice_json(action="fix", cuts=[], why="does not fit", doubts=doubts)
    doubtful = a_finding("warn", "cut.doubtful")
    return panel_of(at("fix", [a_run(1), a_run(2, advice=told, findings=[doubtful])], cuts))


def test_a_doubted_cut_is_amended_by_one_touch_and_no_pedal():
    view = doubted([cut_of(id="c", angle_deg=300.0, after_run=1)])
    assert view.layout == "doubted" and view.asked.pedal is None and view.asked.tell
    rows = there(view.doubted).rows
    assert [r.letter for r in rows] == ["A", "B", "C", "D"]
    assert [dict(r.fields).get("angle_deg") for r in rows] == ["120", "60", "300", None]
    assert dict(rows[2].fields)["never"] == "yes" and rows[3].looked
    assert "opposite" in view.told


def test_which_of_two_cuts_it_was_nobody_knows():
    cuts = [cut_of(id="c", after_run=1), cut_of(id="d", after_run=1)]
    assert not any(r.fields for r in there(doubted(cuts).doubted).rows)


def test_while_it_spins_nothing_old_distracts():
    view = panel_of(at("spinning", [a_run(findings=[a_finding("warn")])]), warnings=["little room"])
    assert view.findings == () and view.warnings == ()
    assert there(view.asked.pedal).verb == "stop" and not there(view.asked.pedal).hold
    assert panel_of(at("done", [a_run()]), warnings=["little room"]).warnings == ("little room",)


def test_a_cut_stands_after_its_run_and_is_said_in_words():
    cuts = [cut_of(id="c", angle_deg=359.8, after_run=2)]
    first, second = panel_of(at("prepare", [a_run(1), a_run(2)], cuts)).line
    assert first.cuts == ()
    assert plain(second.cuts[0].label) == "Amend the cut: nut, 12:00, 360 degrees, 0.10 mm"


def test_after_a_pass_the_pedal_brings_the_next_piece_and_nothing_spins():
    piece = Piece(id="n", serial="P-2", model="Larch 52", kind="cartridge", job_id="j", at="")
    runs = [replace(a_run(verdict="pass"), verdict="pass")]
    view = panel_of(at("done", runs, following=piece, tiers=("very good",)))
    assert view.told == "Passed, very good: 0.40 g."
    pedal = there(view.asked.pedal)
    assert (pedal.verb, pedal.place, pedal.hold) == ("", "/bench/P-2", False)
    alone = panel_of(at("done", runs))
    assert there(alone.asked.pedal).download and alone.told == "Passed, 0.40 g."


def test_the_job_shows_where_one_stands():
    pieces = [
        Piece(id=s, serial=s, model="m", kind="cartridge", job_id="j", at="", number=n, verdict=v)
        for s, n, v in (("L52-9101", 2, "pass"), ("L52-9102", 1, "fail"), ("L52-9103", None, None))
    ]
    shown = job_of(pieces[1], [pieces[0], pieces[2]], "fail", pieces[2])
    assert [p.short for p in shown] == ["9101", "9102", "9103"]
    assert [p.sign for p in shown] == ["ok", "no", "open"]
    assert [p.following for p in shown] == [False, False, True]


def test_only_what_is_out_of_limit_holds_a_piece():
    measured = (Measured("axial_play", 0.09, 0.03, 0.08),)
    view = panel_of(at("build", build=BuildState("out", measured)))
    assert view.asked.pedal is None and view.told.startswith("Out of limit")


def test_names_are_nobody_s_markup():
    evil = Said("bench.say.grind", {"plane": "<b>*x*</b> [y]", "clock": "1:00", "depth_mm": 1.0})
    html = str(marked(evil))
    assert "&lt;b&gt;*x*&lt;/b&gt; [y]" in html and html.count("<b>") == 2
    assert plain(evil) == "Grind the <b>*x*</b> [y] at 1:00, 1.00 mm deep."


@pytest.mark.parametrize("language", LANGUAGES)
def test_every_state_is_said_in_every_language(language):
    for question in ("prepare", "grind", "again", "fix", "done", "spinning", "reading", "rescue"):
        view = panel_of(replace(at(question, [a_run()], advised=[a_cut()]), language=language))
        assert view.told and "{" not in view.told
