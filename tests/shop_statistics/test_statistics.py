"""Control charts, capability, gauge studies, agreement, survival, against published values and statsmodels."""

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from scipy.stats import norm

from heavyspot.quantities.errors import BadInput
from heavyspot.statistics.agreement import agreement
from heavyspot.statistics.charts import D2_OF_TWO, capability, ewma, individuals
from heavyspot.statistics.gauge import D2, by_anova, by_ranges
from heavyspot.statistics.survival import survival


def test_individuals_chart_is_nist_s(case):
    given, wanted = case("qs_nist_imr")["inputs"], case("qs_nist_imr")["expected"]
    chart = individuals(given["x"])
    assert chart.centre == pytest.approx(wanted["mean"], abs=6e-5)
    assert chart.sigma * D2_OF_TWO == pytest.approx(wanted["MRbar"], abs=6e-5)
    assert (chart.high, chart.low) == pytest.approx((wanted["UCL"], wanted["LCL"]), abs=6e-4)
    assert chart.outside == ()


def test_weighted_mean_chart_is_nist_s(case):
    given, wanted = case("qs_nist_ewma")["inputs"], case("qs_nist_ewma")["expected"]
    chart = ewma(
        given["x"],
        weight=given["lam"],
        centre=given["ewma0"],
        sigma=given["sigma"],
        width=given["L"],
    )
    assert chart.points == pytest.approx(wanted["ewma"], abs=0.006)
    assert (chart.high, chart.low) == pytest.approx((wanted["UCL"], wanted["LCL"]), abs=0.006)
    assert chart.outside == ()


def test_capability_is_nist_s(case):
    given, wanted = case("qs_nist_cpk")["inputs"], case("qs_nist_cpk")["expected"]
    found = capability(given["mean"], given["s"], low=given["LSL"], high=given["USL"])
    assert (found.cp, found.cpk) == pytest.approx((wanted["Cp"], wanted["Cpk"]), rel=1e-3)
    one = capability(given["mean"], given["s"], high=given["USL"])
    assert one.cpk == pytest.approx(wanted["Cpu"], rel=1e-3) and np.isnan(one.cp)
    assert one.share_outside == pytest.approx(
        0.02275, rel=1e-3
    )  # of a normal distribution beyond 2 sigma
    with pytest.raises(BadInput):
        capability(1.0, 0.0, high=2.0)


def test_constants_are_the_tabled_ones(case):
    wanted = case("qs_constants")["expected"]
    assert pytest.approx(wanted["d2_2"], abs=0.0014) == D2_OF_TWO
    for n in (2, 3, 4, 5):
        assert D2[n] == pytest.approx(wanted[f"d2_{n}"], abs=0.0014)


def readings(case, name):
    return {k: case(name)["inputs"][k] for k in "ABC"}


def test_gauge_study_by_variance_is_the_published_one(case):
    wanted = case("qs_grr_anova")["expected"]
    study = by_anova(readings(case, "qs_grr_anova"))
    assert study.pooled and study.p_interaction == pytest.approx(wanted["p_interaction"], abs=6e-4)
    for ours, theirs in (
        (study.repeat**2, "var_repeat"), (study.reproduce**2, "var_reprod"), (study.part**2, "var_part"),
        (study.total**2, "var_total"), (study.gauge, "SD_GRR"), (study.total, "SD_total"),
        (100 * study.share, "pctSV_GRR"), (100 * study.of_tolerance(8), "pctTol_GRR_tol8"),
    ):  # fmt: skip
        assert ours == pytest.approx(wanted[theirs], rel=6e-4, abs=1e-4), theirs
    assert study.categories == wanted["ndc"]


def test_gauge_study_by_ranges_is_the_published_one(case):
    wanted = case("qs_grr_range")["expected"]
    study = by_ranges(readings(case, "qs_grr_range"))
    for ours, theirs in (
        (study.repeat, "EV"), (study.reproduce, "AV"), (study.gauge, "GRR"), (study.part, "PV"),
        (study.total, "TV"), (100 * study.share, "pct_GRR"),
    ):  # fmt: skip
        assert ours == pytest.approx(wanted[theirs], rel=1e-3, abs=5e-4), theirs
    assert study.categories == int(wanted["ndc"])


def test_gauge_studies_that_are_none():
    for read in ({}, {"A": [[1, 2]]}, {"A": [[1, 2], [1]], "B": [[1, 2], [1, 2]]}):
        with pytest.raises(BadInput):
            by_anova(read)
    with pytest.raises(BadInput, match="tabled"):
        by_ranges({k: [[1.0, 2.0]] * 6 for k in "AB"})


@given(st.integers(0, 200), st.floats(0.01, 100), st.floats(-50, 50))
def test_a_gauge_study_scales_and_shifts(seed, scale, shift):
    rng = np.random.default_rng(seed)
    cube = rng.normal(size=(3, 2, 5)) + 3 * rng.normal(size=(1, 1, 5))
    one = by_anova(dict(zip("ABC", cube.tolist(), strict=True)))
    two = by_anova(dict(zip("ABC", (scale * cube + shift).tolist(), strict=True)))
    assert two.gauge == pytest.approx(scale * one.gauge, rel=1e-6, abs=1e-9)
    assert two.share == pytest.approx(one.share, rel=1e-6, abs=1e-6)


def test_agreement_is_bland_and_altman_s(case):
    given, wanted = case("bland-altman")["inputs"], case("bland-altman")["expected"]
    found = agreement(given["a"], given["b"])
    assert (found.mean, found.sd) == pytest.approx(
        (wanted["mean_difference"], wanted["sd"]), abs=0.05
    )
    # they take twice the standard deviation; of 17 pieces it is t sqrt(1 + 1/17), t = 2.120 for 16 (any table)
    wider = 2.120 * np.sqrt(18 / 17) / 2
    assert found.low - found.mean == pytest.approx(
        wider * (wanted["low"] - wanted["mean_difference"]), abs=0.2
    )
    assert found.high - found.mean == pytest.approx(
        wider * (wanted["high"] - wanted["mean_difference"]), abs=0.2
    )
    assert not found.differs
    with pytest.raises(BadInput):
        agreement([1, 2], [1, 2])


def test_survival_is_the_textbook_s(case):
    given, wanted = case("kaplan-meier")["inputs"], case("kaplan-meier")["expected"]["S"]
    found = survival(given["time"], given["event"])
    for t, share in zip(found.time, found.share, strict=True):
        assert share == pytest.approx(wanted[f"{t:.0f}"], abs=6e-4)
    assert found.n == 21 and found.claims == sum(given["event"])


@given(st.integers(0, 500))
def test_survival_is_statsmodels_(seed):
    from statsmodels.duration.survfunc import SurvfuncRight

    rng = np.random.default_rng(seed)
    time = np.ceil(rng.exponential(10, 40))
    event = rng.random(40) < 0.6
    if not event.any():
        return
    ours, theirs = survival(time.tolist(), event.tolist()), SurvfuncRight(time, event.astype(int))
    keep = np.isin(theirs.surv_times, ours.time)
    assert ours.share == pytest.approx(theirs.surv_prob[keep])
    assert all(lo <= s <= hi for lo, s, hi in zip(ours.low, ours.share, ours.high, strict=True))


def test_drift_is_seen_sooner_by_the_weighted_mean():
    """After a shift of one standard deviation: 44 values until one is outside, by the normal distribution."""
    until_seen: dict[str, list[int]] = {"weighted": [], "single": []}
    for seed in range(200):
        rng = np.random.default_rng(seed)
        x = rng.normal(0, 1, 500)
        x[200:] += 1.0
        for name, chart in (
            ("weighted", ewma(x.tolist(), weight=0.2, basis=200)),
            ("single", individuals(x.tolist(), basis=200)),
        ):
            until_seen[name].append(next((i for i in chart.outside if i >= 200), 500) - 199)
    alone = 1 / (norm.sf(3 - 1) + norm.sf(3 + 1))
    assert np.mean(until_seen["single"]) == pytest.approx(alone, rel=0.25)
    assert np.mean(until_seen["weighted"]) < alone / 3


def test_too_few_values_make_no_chart():
    for few in ([], [1.0] * 5, [1.0] * 7 + [float("nan")]):
        with pytest.raises(BadInput):
            individuals(few)
