"""The small pictures of insight, rig health, matching, old book: what they show, where their marks lead."""

import re
from datetime import UTC, datetime, timedelta
from itertools import pairwise
from urllib.parse import unquote

import pytest

from heavyspot.ledger.records import OnBothRigs
from heavyspot.statistics.agreement import agreement
from heavyspot.statistics.charts import ewma, individuals
from heavyspot.statistics.survival import survival
from heavyspot.web.drawings.plot import Axis, Dot, Plot, plot_svg, ratio_axis, round_axis
from heavyspot.web.views.insight import claims_panels, gains_panels, limits_panels
from heavyspot.web.views.old_book import peaks_picture
from heavyspot.web.views.rig import health_pictures as health
from heavyspot.web.views.rotor.matching import matching_picture
from heavyspot.workshop.insight.answers import ShippedElsewhere
from heavyspot.workshop.insight.gains import Gains, Kept, ModelGains, UnitTold
from heavyspot.workshop.insight.questions import after_between, wilson
from heavyspot.workshop.rig.health import MasterState
from heavyspot.workshop.rotor.proposal import Assembly, Proposal


def ticks(svg):
    return re.findall(r'<text class="(?:end|middle) faded"[^>]*>([^<]*)<', svg)


@pytest.mark.parametrize(
    "values", [[100.0, 100.0], [1e-9, 2e-9], [0.0, 0.0], [99.98, 100.0], [-3.0, 5.0], [4e6, 4.1e6]]
)
def test_an_axis_holds_its_values_and_no_two_ticks_read_the_same(values):
    axis = round_axis(values)
    words = [w for _, w in axis.shown(5)]
    assert axis.low <= min(values) and axis.high >= max(values)
    assert len(set(words)) == len(words) >= 2


def test_a_ratio_axis_is_of_ones_twos_and_fives():
    assert [w for _, w in ratio_axis([1.0]).ticks] == ["0.5", "1", "2"]
    assert ratio_axis([0.06, 12.0]).ticks[0] == (0.05, "0.05")


def test_labels_of_marks_in_one_place_do_not_lie_on_each_other():
    dots = [Dot(1.0, 1.0, label=f"Ines, {i}") for i in range(4)]
    svg = plot_svg(Plot("t", Axis(0, 2), Axis(0, 2), dots=dots))
    tops = sorted(float(y) for y in re.findall(r'bold halo" x="[\d.]+" y="([\d.]+)"', svg))
    assert min(b - a for a, b in pairwise(tops)) >= 16


def test_gains_lead_to_each_unit_and_to_the_pieces_of_a_chance():
    units = [UnitTold(f"G {i}", 1 + i % 3, True, 0, 1, 10.0) for i in range(14)]
    told = Gains([ModelGains("Larch 52", units)], [Kept(0.9, 20, 0.94, 0.85)], [])
    model, kept = gains_panels(told)
    assert model.picture.count('href="/story/G%20') == 14 and "mean of ten" in model.picture
    assert "by=chance&amp;name=0.9" in kept.picture and kept.title == "94 % said, 85 % passed"
    _, low, high = wilson(17, 20)
    ends = re.search(
        r'class="interval" x1="[\d.]+" y1="([\d.]+)" x2="[\d.]+" y2="([\d.]+)"', kept.picture
    )
    assert ends and high > 0.85 > low and float(ends[1]) > float(ends[2])


def test_limits_show_their_interval_by_model_on_one_scale():
    rows = [
        ShippedElsewhere("Larch 52", 40, 0.5, 0.75, 1.0, 0.4, 0.1, 0.0),
        ShippedElsewhere("Alder 64", 4, 0.0, 0.25, 0.5, 0.4, 0.1, 0.0),
    ]
    panels = limits_panels(rows)
    assert [p.title.split(":")[0] for p in panels] == ["Larch 52", "Alder 64"]
    assert all(p.picture.count('class="interval"') == 3 for p in panels)
    assert all("100 %" in ticks(p.picture) and "0 %" in ticks(p.picture) for p in panels)
    assert panels[1].picture.count("dot now few") == 3 and "dot now few" not in panels[0].picture


def test_claims_lead_to_what_left_so_and_their_axis_never_reads_one_figure_twice():
    good = survival([300.0, 400.0], [False, False], [50, 50])
    worse = survival([90.0, 400.0], [True, False], [2, 40])
    time, after_year = claims_panels([("0 to 0.5 of the limit", good), ("over 1 of it", worse)])
    for picture in (time.picture, after_year.picture):
        assert len(set(ticks(picture))) == len(ticks(picture)), ticks(picture)
    assert "by=left with&name=over 1 of it" in unquote(after_year.picture).replace("&amp;", "&")
    low, high = after_between(worse, 365.0)
    assert 0 < low < 40 / 42 < high < 1  # log-log limits of 2 of 42
    assert after_between(good, 365.0) == (1.0, 1.0)


def a_master(values):
    at = [datetime(2026, 3, 1, 7, tzinfo=UTC) + timedelta(days=i) for i in range(len(values))]
    told = tuple((t.isoformat(), v) for t, v in zip(at, values, strict=True))
    single = individuals(values, basis=12)
    weighted = ewma(values, weight=0.3, centre=single.centre, sigma=single.sigma)
    return MasterState("M/1", len(values), told, single, weighted, "", told[-1][0])


def test_a_master_s_spin_outside_its_history_is_a_diamond_and_every_mark_leads_to_it():
    quiet = [0.40, 0.41, 0.39, 0.40, 0.41, 0.40, 0.39, 0.41, 0.40, 0.40, 0.41, 0.40]
    picture = health.master_picture(a_master([*quiet, 0.80]))
    assert picture.count('<polygon class="dot hot"') == 1 and picture.count("/story/M/1") == 13
    assert '<polygon class="dot hot"' not in health.master_picture(a_master(quiet))


def test_two_rigs_are_drawn_with_the_band_the_numbers_say():
    pairs = [
        OnBothRigs(serial=f"B-{i}", first=0.5 + 0.02 * i, second=0.5 + 0.02 * i - 0.01 * (i % 3))
        for i in range(10)
    ]
    agreed = agreement([p.first for p in pairs], [p.second for p in pairs])
    picture = health.both_picture(agreed, pairs, "High 1", "High 2")
    assert picture.count('href="/story/B-') == 10 and 'class="band"' in picture
    assert f"mean {agreed.mean:+.3f}" in picture


def test_people_of_a_study_are_told_apart_by_shape():
    study = {
        "serials": ["P 1", "P 2"],
        "read": {"Ida": [[0.1, 0.2]], "Per": [[0.1, 0.2]], "Tom": [[0.1, 0.2]]},
    }
    picture = health.study_picture(study)
    assert picture.count('<circle class="dot now few"') == 2
    assert picture.count('<polygon class="dot now few"') == 4
    assert "circle Ida · square Per · wedge Tom" in picture and "/story/P%201" in picture
    assert health.study_picture({"mean_g": 0.4}) == ""  # kept before there were readings


@pytest.mark.parametrize(
    ("until", "mark"), [("2026-02-28", "over"), ("2026-03-15", "date"), ("2026-09-01", "good")]
)
def test_what_is_due_says_how_near_it_is(until, mark):
    due = health.due_of("Calibration", "2025-03-01", until, "2026-03-01")
    assert due is not None and due.mark == mark and 0 <= due.gone <= 100
    assert health.due_of("Calibration", "", "", "2026-03-01") is None


def test_who_goes_with_whom_is_drawn_across_the_shelf():
    told = Proposal(
        ("wheel", "shaft"), {}, 0.3, 0.1, 8.0,
        (
            Assembly({"wheel": "W<1", "shaft": "S2"}, {"wheel": 0.0, "shaft": 90.0}, 0.1, 0.0),
            Assembly({"wheel": "W2", "shaft": "S1"}, {"wheel": 0.0, "shaft": 0.0}, 0.2, 0.0),
        ),
    )  # fmt: skip
    svg = matching_picture(told)
    assert "W&lt;1" in svg and "W<1" not in svg
    at = {
        n: float(y)
        for y, n in re.findall(r'class="serial" x="\d+" y="(\d+)" [^>]*>([WS][^<]*)<', svg)
    }
    assert at["S1"] == at["W&lt;1"] and at["S2"] == at["W2"]  # on the shelf, in order
    assert "9:00" in svg and "12:00" in svg  # 90 degrees against rotation, seen turning clockwise
    assert svg.count('class="pair"') == 4


def test_a_wrong_unit_of_the_old_book_stands_far_from_the_others():
    rows = [{"serial": f"O-{i}", "first_g": 2.0, "last_g": 0.3} for i in range(5)]
    rows.append({"serial": "O-9", "first_g": 20.0, "last_g": 3.0})
    picture = peaks_picture(rows)
    xs = [float(x) for x in re.findall(r'class="dot now(?: few)?" cx="([\d.]+)"', picture)]
    assert len(xs) == 12 and max(xs) - sorted(xs)[-3] > 100
    assert peaks_picture([{"serial": "O-1"}]) == ""
