"""What is said of a few values holds as often as it says: simulated samples of a known normal distribution."""

import math

import numpy as np
import pytest
from scipy.stats import nct

from heavyspot.statistics.agreement import agreement, prediction_factor, student
from heavyspot.statistics.charts import capability
from heavyspot.statistics.gauge import by_anova, by_ranges, range_factor


def test_students_factors_are_the_tabled_ones():
    """GUM (JCGM 100:2008), table G.2, 95 %."""
    for degrees, tabled in ((1, 12.71), (2, 4.30), (5, 2.57), (10, 2.23), (30, 2.04), (100, 1.984)):
        assert student(degrees) == pytest.approx(tabled, abs=0.006)
    assert prediction_factor(3) == pytest.approx(4.303 * math.sqrt(4 / 3), abs=0.001)
    assert prediction_factor(100_000) == pytest.approx(1.96, abs=1e-3)


@pytest.mark.parametrize("n", [3, 5, 10, 30])
def test_the_next_difference_lies_between_the_limits(n):
    """Two rigs that agree: 95 of 100 next pieces are between, and 5 of 100 comparisons say they differ."""
    rng = np.random.default_rng(n)
    inside = differs = 0
    for _ in range(4000):
        told = agreement(rng.normal(0, 1, n).tolist(), [0.0] * n)
        inside += told.low <= rng.normal() <= told.high
        differs += told.differs
    assert 0.94 < inside / 4000 < 0.96 and 0.04 < differs / 4000 < 0.06


@pytest.mark.parametrize("n", [5, 10, 50])
@pytest.mark.parametrize("true", [-0.1, 0.67, 1.33])
def test_the_true_capability_lies_in_its_interval(n, true):
    rng = np.random.default_rng(n)
    hit = 0
    for _ in range(1000):
        x = rng.normal(0, 1, n)
        told = capability(float(x.mean()), float(x.std(ddof=1)), high=3 * true, n=n)
        assert told.cpk_low < told.cpk < told.cpk_high
        hit += told.cpk_low <= true <= told.cpk_high
    assert 0.93 < hit / 1000 < 0.97


@pytest.mark.parametrize("n", [2, 5, 40])
def test_the_interval_is_that_of_the_noncentral_t(n):
    """Against scipy's distribution: at its ends the seen capability is at 2.5 and 97.5 in 100."""
    told = capability(0.0, 1.0, high=3.0, n=n)
    for end, p in ((told.cpk_low, 0.975), (told.cpk_high, 0.025)):
        scale = 3 * math.sqrt(n)
        assert nct.cdf(scale * told.cpk, n - 1, scale * end) == pytest.approx(p, abs=2e-4)


def test_many_values_have_the_interval_of_large_samples():
    """NIST/SEMATECH e-Handbook, 6.1.6: ``Cpk ± z sqrt(1/(9n) + Cpk²/(2(n-1)))`` (A.F. Bissell, 1990)."""
    told = capability(0.0, 1.0, low=-4.0, high=4.0, n=500)
    half = 1.96 * math.sqrt(1 / (9 * 500) + (4 / 3) ** 2 / (2 * 499))
    assert told.cpk_high - told.cpk == pytest.approx(half, rel=0.03)
    assert told.cpk - told.cpk_low == pytest.approx(half, rel=0.03)
    assert math.isnan(capability(0.0, 1.0, high=4.0).cpk_low)


def test_a_mean_of_few_ranges_is_divided_by_more():
    """d2* of MSA, appendix C (from memory): one range of two 1.41421, two 1.27931, four 1.20621; many: d2."""
    for ranges, tabled in ((1, 1.41421), (2, 1.27931), (4, 1.20621)):
        assert range_factor(2, ranges) == pytest.approx(tabled, abs=4e-4)
    assert range_factor(3, 1) == pytest.approx(1.91155, abs=4e-4)
    assert range_factor(3, 30) == 1.693


@pytest.mark.parametrize(("operators", "trials", "parts"), [(2, 2, 2), (3, 2, 5), (3, 3, 10)])
def test_the_true_gauge_lies_in_its_interval(operators, trials, parts):
    """Repeatability 1, operators 0.5; by ranges the variance of repeatability is right in the mean."""
    rng = np.random.default_rng(parts)
    true, hit, by_range = math.sqrt(1.25), 0, []
    for _ in range(1500):
        cube = rng.normal(0, 1, (operators, trials, parts)) + 5 * rng.normal(0, 1, (1, 1, parts))
        cube += 0.5 * rng.normal(0, 1, (operators, 1, 1))
        read = dict(zip("ABC", cube.tolist(), strict=False))
        study = by_anova(read)
        assert study.gauge_low <= study.gauge_high
        hit += study.gauge_low <= true <= study.gauge_high
        by_range.append(by_ranges(read).repeat)
    assert 0.93 < hit / 1500 < 0.97
    assert np.sqrt(np.mean(np.square(by_range))) == pytest.approx(1, abs=0.02)
