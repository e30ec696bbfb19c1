"""Chances that keep their word, and how well cuts are made: against data whose truth is known."""

import numpy as np
import pytest
from scipy.special import expit, logit

from heavyspot.balance.cut.calibrated_chance import Keeping, learn_keeping
from heavyspot.balance.cut.execution import learn_spread


def test_nothing_on_record_changes_nothing():
    assert Keeping().said(0.37) == 0.37
    assert learn_keeping([]).number == 0


@pytest.mark.parametrize(("shift", "slope"), [(0.9, 1.0), (-0.6, 1.0), (0.0, 0.7)])
def test_a_known_modesty_is_found(shift, slope):
    rng = np.random.default_rng(4)
    computed = rng.beta(0.7, 0.5, 3000).clip(0.01, 0.99)
    true = expit(shift + slope * logit(computed))
    keeping = learn_keeping(zip(computed, rng.random(3000) < true, strict=True))
    said = np.array([keeping.said(c) for c in computed])
    assert np.abs(said - true).mean() < 0.03 and np.abs(said - true).max() < 0.15
    assert (np.diff(said[np.argsort(computed)]) >= 0).all()


def test_few_promises_change_little():
    keeping = learn_keeping([(0.6, True)] * 2)
    assert 0.6 < keeping.said(0.6) < 0.8


def test_all_kept_is_still_no_certainty():
    assert learn_keeping([(0.9, True)] * 500).said(0.9) < 1.0


@pytest.mark.parametrize("true", [0.05, 0.15, 0.30])
def test_the_spread_of_cuts_is_found(true):
    rng = np.random.default_rng(8)
    noise = rng.uniform(0.02, 0.15, 400)
    seen = true * rng.standard_normal(400) + noise * rng.standard_normal(400)
    # the usual spread still counts as ten of the four hundred
    assert learn_spread(seen, noise, 0.15) == pytest.approx(true, abs=0.12 * true + 0.02)


def test_few_cuts_leave_the_usual_spread_and_wrong_entries_do_not_widen_it():
    assert learn_spread([], [], 0.15) == 0.15
    assert learn_spread([0.0, 0.01], [0.03, 0.03], 0.15) == pytest.approx(0.14, abs=0.015)
    rng = np.random.default_rng(2)
    seen = np.concatenate([0.1 * rng.standard_normal(100), [5.0, -4.0]])
    assert learn_spread(seen, np.full(102, 0.03), 0.15) < 0.14
