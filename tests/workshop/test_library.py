"""What other units teach, and how much each counts."""

import numpy as np
import pytest
from loop.loop import model_of

from heavyspot.balance.prior import library_prior
from heavyspot.workshop.library import Lesson, priors_of

SHARE = np.linspace(0.15, 1, 60)
MODEL = model_of("Larch 52", 150_000.0, 52.0)


def lesson(value, rig="north", at="2026-06-01", piece="x"):
    return Lesson("nut", rig, piece, 0.1, SHARE, value * SHARE**2 * np.ones(60, complex), at)


def mean_of(lessons, **kw):
    return priors_of(lessons, MODEL, SHARE * 150_000, rig="north", **kw)["nut"].mean[-1].real


def test_another_rig_and_an_older_chapter_count_a_quarter():
    same = mean_of([lesson(1.0), lesson(2.0)])
    other = mean_of([lesson(1.0), lesson(2.0, rig="south")])
    older = mean_of([lesson(1.0), lesson(2.0, at="2025-01-01")], serviced_at="2026-01-01")
    assert same == pytest.approx(1.5)
    assert other == pytest.approx(older) == pytest.approx(1.2)


def test_a_wrong_entry_is_outvoted():
    rng = np.random.default_rng(1)
    good = [lesson(1 + 0.05 * rng.standard_normal()) for _ in range(11)]
    assert mean_of([*good, lesson(-3.0)]) == pytest.approx(1.0, abs=0.08)


@pytest.mark.parametrize("units", [12, 40, 150])
def test_the_cuts_own_error_is_no_spread_between_units(units):
    """Units that differ by 8 %, learnt from cuts 15 % and 4 degrees off: about 8 % is found."""
    rng = np.random.default_rng(units)
    shape = SHARE**2 * np.exp(-1j * SHARE)

    def z(size):
        return size * rng.standard_normal(units)

    true = 1 + (z(0.08) + 1j * z(0.08)) / np.sqrt(2)
    seen = true * (1 + z(0.15)) * np.exp(1j * np.deg2rad(z(4.0)))
    prior = library_prior(seen[:, None] * shape, cut_error=(0.15, np.deg2rad(4.0)))
    variance = (np.abs(prior.factor) ** 2).sum(axis=1) / np.abs(prior.mean) ** 2
    spread = float(np.sqrt(np.median(variance)))
    assert 0.05 < spread < 0.16 if units < 100 else 0.05 < spread < 0.11
