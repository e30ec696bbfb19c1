"""What the templates are given: decided once, in Python."""

import inspect
import re
from dataclasses import replace
from typing import Any

import pytest
from conftest import there
from loop.loop import model_of
from workshop.entries import cut_of, run_of, story_of

from heavyspot.ledger.records import FlowTest, Piece, RotorRun
from heavyspot.quantities.said import catalogue
from heavyspot.web import formats
from heavyspot.web.views import (
    flow,
    job,
    old_book,
    station,
    story,
    work,
)
from heavyspot.web.views.bench.words import plain
from heavyspot.web.views.rig import health
from heavyspot.web.views.rig import record as rig
from heavyspot.web.views.rotor import work as rotor
from heavyspot.workshop.demo.rigs import DEMO_ROTORS
from heavyspot.workshop.flow.kept import FlowTestKept, KeptFlow, KeptFlowReading, KeptWindow
from heavyspot.workshop.job.documents import Attached, Document
from heavyspot.workshop.job.story import Event
from heavyspot.workshop.keep.long_work import Work
from heavyspot.workshop.old_book.bring import Told
from heavyspot.workshop.rig.checks import ShakerCheck, ShakerKept
from heavyspot.workshop.rig.record import RigRecord
from heavyspot.workshop.rotor.correction import Correction
from heavyspot.workshop.rotor.kept import RotorStory, reading_of
from heavyspot.workshop.rotor.model_file import parse_rotor

MODEL = model_of("Larch 52", 150_000.0, 52.0)
WORST = {
    "amplitude_g": 0.4, "uncertainty_g": 0.01, "speed_rpm": 149_500.0, "limit_g": 0.5, "ratio": 0.8,
}  # fmt: skip


def a_run(number=1, **more):
    run = run_of(number=number)
    return replace(run, result={**run.result, "worst": WORST, **more})


def test_every_kind_of_event_has_a_title():
    kinds = there(re.search(r"kind : str\n(.*?)\n\s*text", there(inspect.getdoc(Event)), re.S))
    titles = {
        c.removeprefix("story_event.") for c in catalogue("en") if c.startswith("story_event.")
    }
    assert set(re.findall(r"\w+", kinds[1])) == titles


def test_a_build_record_outside_its_model_bears_no_tick():
    well, off = story.event_lines(
        [Event("t", "", "build", "0.07 mm"), Event("t", "", "build", "✗ 0.12 mm", well=False)]
    )
    assert (well.mark, off.mark) == ("good", "person")


def test_a_run_leads_to_its_curves_and_nothing_else_does():
    lines = story.event_lines(
        [Event("t", "", "run", "", 2, "pass"), Event("t", "", "reading", "", 1)]
    )
    assert [(e.number, e.look_at) for e in lines] == [("2", True), ("1", False)]


def test_pictures_are_told_from_documents_by_what_they_are_kept_as():
    papers = [
        Attached("1", "", "", Document("a.pdf", "x/jpg.pdf", "", 1)),
        Attached("2", "", "", Document("b", "x/2.jpg", "", 1, "seen")),
    ]
    found = story.paper_views(papers, "S%2F1", ("jpg", "png"))
    assert [p.is_picture for p in found] == [False, True]
    assert found[1].place == "/papers/2/S%2F1"


CORRECTION = Correction("left", "remove", 90.0, 12.0, 1.5, 0.5)


@pytest.mark.parametrize(
    ("more", "words"),
    [
        ({}, "Take off left 0.50 mm deep at 90°, 9:00 o’clock"),
        ({"way": "add"}, "Add on left 1.5 g at 90°, 9:00 o’clock"),
        (
            {"way": "add", "pieces": {0.5: 2, 0.2: 1}},
            "Add on left 2 × 0.5 g and 1 × 0.2 g at 90°, 9:00 o’clock",
        ),
    ],
)
def test_a_correction_is_an_order(more, words):
    order = rotor._order(replace(CORRECTION, **more), "clockwise")
    assert plain(order.order) == words


def a_rotor(asked, runs=(), typed=None, **more):
    given: dict[str, Any] = {
        "done": False,
        "problem": "",
        "speed_rpm": None,
        "rotation": "clockwise",
    }
    piece = Piece(id="p", serial="R", model="Blower", kind="rotor", job_id="j", at="")
    told = RotorStory(piece, parse_rotor(DEMO_ROTORS[0], name="x"), tuple(runs), ())
    return rotor.rotor_view(asked, told, typed=typed or {}, **given | more)


def a_reading(rig="M", **more):
    residual = {
        "name": "A", "amount_gmm": 1.0, "angle_deg": 0.0, "standard_gmm": 0.1, "uncertainty_gmm": 0.2,
        "circle_gmm": 0.25, "limit_gmm": 2.4, "verdict": "pass", "ratio": 0.41,
    }  # fmt: skip
    content = {
        "program": "0", "rotor": {}, "machine": {}, "planes": [], "rule": "", "verdict": "pass",
        "tolerance": [residual], "kind": "static", "way": "typed", "speed_rpm": 1500.0,
        "notes": ["Far from its speed."],
        "advice": {"corrections": [], "sparing": [], "expected": [], "why": ""},
    }  # fmt: skip
    return reading_of(
        RotorRun(
            piece_id="p",
            number=1,
            rig=rig,
            verdict="pass",
            worst_ratio=0.41,
            content=content | more,
        )
    )


READ = a_reading()


def test_the_machine_of_the_last_reading_is_offered_until_something_is_typed():
    assert a_rotor("done", [READ]).rig == "M"
    assert a_rotor("done", [READ], typed={"amount-0": "1"}).rig == ""
    assert a_rotor("done", [READ], typed={"rig": "N"}).rig == "N"


def test_how_a_reading_came_about_is_one_line():
    assert a_rotor("done", [READ]).how == (
        "Static unbalance. Read off the display, M, 1,500 rpm. Far from its speed."
    )
    bare = a_reading(rig="", kind="", speed_rpm=0.0, notes=[])
    assert a_rotor("done", [bare]).how == "Read off the display."


def test_no_speed_is_a_dash():
    assert a_rotor("measuring").speed == "–"
    assert a_rotor("measuring", speed_rpm=float("nan")).speed == "–"
    assert a_rotor("measuring", speed_rpm=1234.4).speed == "1,234"


def a_flow_test(readings=1, **more):
    reading = KeptFlowReading("opening", 0.1, 0.001, 0.1, 0.001)
    window = KeptWindow("open", 0.09, 0.13, "undecided")
    entry = FlowTest(
        piece_id="p", at="2026-01-02T03:04:05Z", rig="F", verdict="undecided", content={}
    )
    kept = KeptFlow({}, "", "25 °C", (reading,) * readings, (window,), **more)
    return flow.flow_test_view(FlowTestKept(1, entry, kept))


def test_a_window_that_was_not_measured_says_so():
    window = a_flow_test().windows[0]
    assert (window.measured, window.asked) == ("not measured", "0.09 to 0.13")


def test_a_reading_shows_its_expanded_uncertainty_and_no_number_it_has_not():
    row = a_flow_test().readings[0]
    assert (row.expanded, row.position, row.way, row.ratio) == ("0.002", "", "", "")


def test_readings_that_are_not_shown_are_told():
    assert a_flow_test(40).cut_short == "" and len(a_flow_test(40).readings) == 40
    assert (
        a_flow_test(41).cut_short.startswith("The first 40 of 41")
        and len(a_flow_test(41).readings) == 40
    )


def test_a_leak_is_told_in_grams():
    assert a_flow_test(leak_kg_s=0.00042).leak == "Leak 0.42 g/s"
    assert a_flow_test(leak_kg_s=0.00042, leak_u_kg_s=0.00002).leak == "Leak 0.42 ± 0.04 g/s"


def test_a_member_of_a_job_in_one_line():
    piece = Piece(
        id="p", serial="A/1", model="Larch 52", kind="cartridge", job_id="j", at="", position="left"
    )
    assert job.member_view(piece, story_of(MODEL), serial_in_path="A%2F1").done == "Larch 52"
    done = story_of(MODEL, [a_run(1), a_run(2)], [cut_of()])
    view = job.member_view(replace(piece, number=2), done, serial_in_path="A%2F1")
    assert view.done == "Larch 52, 2 runs, 1 cut; 0.40 g at 149,500 rpm"
    assert (view.place, view.place_words, view.has_sheet) == ("/bench/A%2F1", "Bench", True)
    rotor_piece = replace(piece, kind="rotor")
    view = job.member_view(rotor_piece, None, serial_in_path="A%2F1")
    assert (view.place, view.place_words, view.has_sheet) == ("/rotor/A%2F1", "Machine", False)


@pytest.mark.parametrize(
    ("due", "words", "look"),
    [
        ("", "no due date is stated", "undecided"),
        ("2001-05-01", "calibration was due 1 May 2001", "fail"),
        ("2001-05-02", "calibrated until 2 May 2001", "pass"),
    ],
)
def test_a_calibration_holds_through_its_day(due, words, look):
    record = RigRecord(due=due) if due else RigRecord()
    card = rig.rig_card("R", record, "2001-05-02")
    assert (card.due, card.due_look) == (words, look)


def test_proofs_and_elements_belong_to_their_kinds():
    kinds = {
        k: rig.rig_card("R", RigRecord(kind=k), "2026-01-01")
        for k in (rig.PROOFS_OF, rig.ELEMENT_OF)
    }
    assert [c.has_proofs for c in kinds.values()] == [True, False]
    assert [c.has_element for c in kinds.values()] == [False, True]


def test_a_bad_shaker_check_offers_the_gain_that_undoes_it():
    bad = ShakerKept("", "", ShakerCheck(9.2, -0.08, good=False, gain=1.08696))
    good = ShakerKept("", "", ShakerCheck(10.0, 0.0, good=True, gain=1.0))
    assert health.gain_to_undo([bad, good]) == "1.0870"
    assert health.gain_to_undo([good, bad]) == "" and health.gain_to_undo([]) == ""
    shown = health.shaker_views([bad])[0]
    assert (shown.deviation, shown.verdict, shown.look) == ("-8.0 %", "over 3 %", "fail")


def test_what_buildings_disagree_about_in_words():
    assert "(Larch 52)" in station.held_words("serial", "Larch 52", 1, 0)
    assert station.held_words("number", "", 3, 1).endswith(
        "3 entries of theirs wait, among them 1 run."
    )
    fields = {"fields": ["customer"], "here": {"customer": "A"}, "there": {"customer": "B"}}
    assert station.clash_words(fields).startswith("customer is “A” here and “B” there.")
    assert "both are kept" in station.clash_words({})


def test_long_lists_of_the_old_book_say_how_many_more():
    names = [f"M{i}" for i in range(14)]
    assert old_book.few_names(names).endswith("M11 and 2 more") and old_book.few_names(
        names[:12]
    ).endswith("M11")
    assert old_book.merged({n: n for n in names}).more == 2
    assert old_book.column_words(["serial", "date"]) == {"serial": "Serial *", "date": "Date"}


def test_long_work_in_words():
    going = Work("w", "Ida", download="d", done=1200)
    assert work.work_view(going).words == "1,200 of …" and work.work_view(going).download == ""
    told = Told(rows=5000, taken=4999, known=1, refused=1, pieces=1)
    done = Work("Taking x", "Ida", state="done", result=told)
    view = work.work_view(done)
    assert view.lines == ("4,999 of 5,000 rows taken, new pieces: 1", "1 were there already")
    assert view.refused.startswith("1 not taken")


@pytest.mark.parametrize("show", [formats.fixed, formats.signed, formats.grouped, formats.whole,
                                  formats.degrees, formats.figures, formats.in_percent,
                                  formats.in_thousandths])  # fmt: skip
def test_a_number_that_is_not_there_is_a_dash(show):
    assert show(None) == "–" and show(float("nan")) == "–"
    assert show(0.0) != "–"
