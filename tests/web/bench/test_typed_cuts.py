"""Cuts typed by hand: the impossible is refused, what hardly can be is asked back, nothing is written meanwhile."""

import pytest
from conftest import there
from loop.loop import model_of

from heavyspot.quantities.said import in_words
from heavyspot.web.views.bench.typed_cuts import read_cuts
from heavyspot.workshop.reading.kept import KeptCut

MODEL = model_of("Larch 52", 150_000.0, 52.0)
ADVISED = [KeptCut("nut", 225.0, "4:30", 5.0, 0.03, 0.31)]


def typed(advised=ADVISED, **fields):
    base = {
        "plane": "nut", "clock": "4:30", "clock_was": "4:30", "angle_deg": "225", "angle_was": "225",
        "depth_mm": "0.31",
    }  # fmt: skip
    return read_cuts(MODEL, advised, {f"{k}-0": v for k, v in (base | fields).items()})[0]


def test_the_form_begins_with_what_was_advised():
    cut = read_cuts(MODEL, ADVISED, {})[0]
    assert (cut.clock, cut.angle, cut.depth, cut.clear) == ("4:30", "225", "0.31", True)
    assert read_cuts(MODEL, (), {})[0].left_out


def test_clock_or_degrees_may_be_typed_and_the_other_follows():
    assert typed(clock="4:10").angle == "235"
    assert typed(angle_deg="235").clock == "4:10"
    assert typed(clock="4", angle_deg="").angle == "240"
    both = typed(clock="4:10", angle_deg="235")
    assert both.clear and both.angle_deg == 235.0


@pytest.mark.parametrize(
    ("field", "text", "where"),
    [
        ("angle_deg", "450", "clock"), ("angle_deg", "1250", "clock"), ("angle_deg", "nan", "clock"),
        ("clock", "13:00", "clock"), ("clock", "4:75", "clock"), ("clock", "noon", "clock"),
        ("depth_mm", "deep", "depth_mm"), ("depth_mm", "-0.3", "depth_mm"), ("depth_mm", "0", "depth_mm"),
        ("depth_mm", "300", "depth_mm"),
    ],
)  # fmt: skip
def test_what_cannot_be_is_refused_at_its_field(field, text, where):
    cut = typed(**{field: text})
    assert not cut.clear and cut.fault(where)


def test_two_places_at_once_are_refused():
    assert "two places" in typed(clock="4:10", angle_deg="100").fault("clock")


def test_ten_times_the_depth_is_asked_back_with_the_likely_one():
    ask = there(typed(depth_mm="3.00").ask)
    assert ask.field == "depth_mm" and ask.likely == "0.30"
    assert in_words(ask.said).startswith("Ten times what was asked")
    assert typed(depth_mm="3.00", sure="depth_mm").clear


@pytest.mark.parametrize("depth", ["0.05", "0.95"])
def test_a_depth_far_from_the_asked_one_is_asked_back(depth):
    assert there(typed(depth_mm=depth).ask).field == "depth_mm"
    assert typed(depth_mm="0.28").clear


def test_a_clock_read_from_the_other_side_is_asked_back():
    ask = there(typed(clock="7:30").ask)
    assert "other side" in in_words(ask.said) and ask.likely == "4:30"
    assert "elsewhere" in in_words(there(typed(clock="1:30").ask).said)
    assert typed(clock="7:30", sure="clock").clear
    assert typed(clock="5:00").clear


def test_an_answer_to_one_question_answers_no_other():
    cut = typed(clock="7:30", depth_mm="3.00", sure="clock")
    assert there(cut.ask).field == "depth_mm"


def test_a_cut_left_out_is_none_and_rows_are_bounded():
    assert typed(depth_mm="").left_out and typed(depth_mm="").clear
    assert len(read_cuts(MODEL, ADVISED, {"rows": "1+"})) == 2
    assert len(read_cuts(MODEL, ADVISED, {"rows": "99"})) == 3
    assert len(read_cuts(MODEL, ADVISED, {"rows": "-4"})) == 1
