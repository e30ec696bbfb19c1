"""Pictures of numbers: where their marks stand, that they lead on, and that no words lie on others."""

import re
from itertools import pairwise

import pytest

from heavyspot.sheet.plots import step_of
from heavyspot.statistics.survival import survival
from heavyspot.web.drawings.plot import Axis, Dot, Line, Plot, plot_svg
from heavyspot.web.drawings.rotor_side import rotor_svg
from heavyspot.web.views.insight import claims_panel, first_spin_panel, runs_panel
from heavyspot.workshop.insight.answers import Group, GroupShown
from heavyspot.workshop.insight.gains import Gains, ModelGains, UnitTold
from heavyspot.workshop.insight.questions import wilson


def test_marks_stand_where_their_values_are():
    dots = [Dot(0, 0, 0, 50, "/a?x=1&y=2", "<none>"), Dot(10, 100)]
    svg = plot_svg(Plot("t", Axis(0, 10), Axis(0, 100), dots=dots))
    (x0, y0), (x1, y1) = [
        (float(x), float(y))
        for x, y in re.findall(r'class="dot now" cx="([\d.]+)" cy="([\d.]+)"', svg)
    ]
    grid = [float(y) for y in re.findall(r'class="grid"[^>]*y1="([\d.]+)"', svg)]
    assert x1 > x0 and y0 == max(grid) and y1 == min(grid)
    assert 'href="/a?x=1&amp;y=2"' in svg and "&lt;none&gt;" in svg and "<none>" not in svg


def test_what_is_outside_stands_at_the_edge_and_gaps_stay_gaps():
    line = Line([(0, 1), (1, None), (2, 1), (3, 900)])
    svg = plot_svg(Plot("t", Axis(0, 3), Axis(0, 2), [line]))
    first, second = re.findall(r'polyline class="now" points="([^"]+)"', svg)
    assert len(first.split()) == 1 and len(second.split()) == 2
    assert min(float(p.split(",")[1]) for p in second.split()) >= 10


def test_names_at_the_ends_never_lie_on_each_other():
    lines = [Line([(0, 1), (1, 1 + i / 100)], word=f"model {i}") for i in range(6)]
    svg = plot_svg(Plot("t", Axis(0, 1), Axis(0, 2), lines))
    tops = sorted(float(y) for y in re.findall(r'class="name now"[^>]*y="([\d.]+)"', svg))
    assert len(tops) == 6 and min(b - a for a, b in pairwise(tops)) >= 17


@pytest.mark.parametrize(("span", "most"), [(0.004, 5), (1.3, 5), (7, 6), (99_000, 6)])
def test_steps_are_round_and_not_too_many(span, most):
    step = step_of(span, most)
    assert span / step <= most + 1e-6 and f"{step:e}"[:3] in ("1.0", "2.0", "2.5", "5.0")


def a_month(name, pieces, passed):
    told = Group(name, pieces, passed, 1.0, 0, 1.0, None, None, None, None, passed, 0)
    share, low, high = wilson(passed, pieces)
    return GroupShown(**vars(told), first=share, first_low=low, first_high=high, few=pieces < 10)


def test_the_share_at_the_first_spin_is_of_pieces_not_of_months():
    months = [a_month("2026-03", 90, 9), a_month("2026-02", 10, 10), a_month("2026-01", 100, 50)]
    panel = first_spin_panel(months)
    assert panel is not None and panel.title.startswith("34 %")  # 69 of 200, not the mean of means
    assert panel.pieces_words == "200 pieces"
    assert panel.picture.index("name=2026-01") < panel.picture.index("name=2026-03")
    assert first_spin_panel(months[:1]) is None


def test_runs_of_ten_units_make_a_mark_and_the_rest_none():
    """Student's t of 9 degrees of freedom, 95 %, is 2.262 (table of the distribution)."""
    units = [UnitTold(f"P-{i}", 3 if i < 10 else 2, True, 0, 1, 1.0) for i in range(25)]
    panel = runs_panel(Gains([ModelGains("Larch 52", units)], [], []))
    assert panel is not None and panel.title == "Larch 52: 3.0 runs a piece, now 2.0"
    assert panel.picture.count('class="dot') == 2


def test_the_axis_of_claims_is_never_of_nothing():
    few = [("0 to 0.5 of the limit", survival([400.0] * 50, [False] * 50, [1] * 50))]
    panel = claims_panel(few)
    assert panel is not None
    words = re.findall(r">([\d.]+ %)<", panel.picture)
    assert words[0] == "94 %" and words[-1] == "100 %" and len(set(words)) == len(words)
    many = [*few, ("over 1 of it", survival([30.0] * 10, [True] * 5 + [False] * 5, [1] * 10))]
    panel = claims_panel(many)
    assert panel is not None and panel.title == "Quieter leaves, fewer come back"
    assert float(re.findall(r">([\d.]+) %<", panel.picture)[0]) <= 50


def test_each_plane_of_the_form_is_a_place_on_the_rotor():
    svg = rotor_svg(["nut", "turbine hub", "", ""])
    assert re.findall(r'href="(#plane-\d)" class="(\w+)" aria-label="([^"]+)"', svg) == [
        ("#plane-0", "known", "nut"),
        ("#plane-1", "known", "turbine hub"),
        ("#plane-2", "open", "nose"),
        ("#plane-3", "open", "back face"),
    ]
    assert "&lt;b&gt;" in rotor_svg(["<b>"])


def test_the_list_of_models_leads_from_a_plane_to_its_fields():
    svg = rotor_svg(["nut", "turbine hub"], "/models/edit?name=A%26B")
    assert re.findall(r'href="([^"]+)" class="known"', svg) == [
        "/models/edit?name=A%26B#plane-0",
        "/models/edit?name=A%26B#plane-1",
    ]
    assert "open" not in svg  # what the model does not have is not offered
