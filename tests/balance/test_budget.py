"""Budget and risk: against Student's table, the guide's own example, and drawing lots."""

from typing import Any

import numpy as np
import pytest
from scipy.stats import t as student

from heavyspot.balance.budget import Shares, factor
from heavyspot.balance.limits import Limit, judge
from heavyspot.balance.risk import (
    LEAST_PIECES,
    Population,
    accepted_though_over,
    over_though_passed,
    population,
)
from heavyspot.quantities.errors import BadInput


def test_factors_are_student_s_at_the_chance_of_the_normal():
    """JCGM 100:2008, table G.2, column 95.45 %."""
    table = {1: 13.97, 2: 4.53, 3: 3.31, 5: 2.65, 10: 2.28, 20: 2.13, 50: 2.05}
    got = factor(2.0, np.array(list(table), float))
    assert got == pytest.approx(list(table.values()), abs=0.006)
    assert float(factor(3.0, 12.0)) == pytest.approx(student.ppf(0.99865, 12), rel=1e-3)
    assert float(factor(2.0, np.inf)) == 2.0


def test_degrees_are_those_of_welch_and_satterthwaite():
    """u_c^4 / sum(u_i^4 / nu_i): parts of 3, 4 and 12 with 5 degrees behind the 4 alone."""
    shares = Shares(repeat=0.04, calibration=0.12, repeat_degrees=5.0, studied=True)
    got = shares.degrees(np.array([100.0]), np.array([3.0]))
    assert got == pytest.approx([13.0**4 / (4.0**4 / 5.0)])
    assert np.isinf(Shares(0.04, 0.12).degrees(np.array([100.0]), np.array([3.0]))).all()


def test_the_budget_s_parts_make_the_whole():
    shares = Shares(repeat=0.03, calibration=0.015, repeat_degrees=12.0, studied=True)
    parts = shares.parts(0.4, 0.005)
    assert [p.source for p in parts] == ["noise", "repeat_study", "calibration"]
    assert [p.kind for p in parts] == ["A", "A", "B"]
    assert [p.standard_g for p in parts] == pytest.approx([0.005, 0.012, 0.006])
    assert Shares(0.03, 0.015).parts(0.4, 0.005)[1].source == "repeat_assumed"


def test_a_repeatability_from_three_spins_keeps_farther_from_the_limit():
    """0.44 g at 0.50 g, 3 %: clear by 4.5 standard uncertainties, which two degrees of freedom do not bear."""
    speed, amplitude = np.linspace(15_000, 150_000, 271), np.full(271, 0.44)
    u = 0.03 * amplitude
    about: dict[str, Any] = {"from_rpm": 15_000, "to_rpm": 150_000, "step_rpm": 500, "pass_k": 3.0}
    limit = Limit("house", (0.0,), (0.5,))
    assert judge(speed, amplitude, u, limit, **about).verdict == "pass"
    few = judge(speed, amplitude, u, limit, **about, degrees=np.full(271, 2.0))
    assert few.verdict == "undecided"


@pytest.mark.parametrize(
    "highest, verdict",
    [(150_000, "pass"), (149_500, "pass"), (149_000, "undecided"), (148_000, "undecided")],
)
def test_test_speed_means_test_speed(highest, verdict):
    speed = np.arange(15_000.0, highest + 1, 500.0)
    got = judge(
        speed, np.full(speed.size, 0.2), np.full(speed.size, 0.005), Limit("house", (0.0,), (0.5,)),
        from_rpm=15_000, to_rpm=150_000, step_rpm=500,
    )  # fmt: skip
    assert got.verdict == verdict


SHOP = Population(np.log(0.7), 0.25, 100)
U, K = 0.05, 1.0


@pytest.fixture(scope="module")
def drawn():
    rng = np.random.default_rng(3)
    true = np.exp(SHOP.log_mean + SHOP.log_spread * rng.standard_normal(2_000_000))
    return true, true * (1 + U * rng.standard_normal(true.size))


def test_the_risk_of_accepting_is_that_of_drawing_lots(drawn):
    true, measured = drawn
    happened = float(((measured * (1 + K * U) <= 1) & (true > 1)).mean())
    assert accepted_though_over(SHOP, U, K) == pytest.approx(happened, rel=0.1)
    assert accepted_though_over(SHOP, U, 3.0) < 0.02 * accepted_though_over(SHOP, U, 0.0)


@pytest.mark.parametrize("ratio", [0.80, 0.95, 0.99])
def test_the_risk_of_one_piece_is_that_of_drawing_lots(drawn, ratio):
    true, measured = drawn
    near = np.abs(measured - ratio) < 0.002
    assert over_though_passed(SHOP, ratio, U) == pytest.approx(
        float((true[near] > 1).mean()), abs=0.015
    )


def test_the_population_is_what_the_measurements_hide(drawn):
    _, measured = drawn
    got = population(measured[:20_000], U)
    assert got.log_mean == pytest.approx(SHOP.log_mean, abs=0.01)
    assert got.log_spread == pytest.approx(SHOP.log_spread, rel=0.03)
    with pytest.raises(BadInput, match="too few"):
        population(measured[: LEAST_PIECES - 1], U)
