"""What other units teach, and how much each counts."""

import numpy as np
import pytest
from loop.loop import model_of

from heavyspot.balance.cut.prior import library_prior
from heavyspot.workshop.model.other_units import (
    Alike,
    Lesson,
    guesses_of,
    nearest_alike,
    priors_of,
)

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


def alike(name, speed, value, n=6, rig="north"):
    model = model_of(name, speed, 52.0)
    return Alike(model, [lesson(value, rig=rig, piece=str(i)) for i in range(n)])


def test_a_like_model_places_the_first_cut_and_is_leant_on_only_when_it_agrees():
    near = alike("Larch 50", 156_000.0, 2.0)
    guess = guesses_of(MODEL, SHARE * 150_000, [near], rig="north")["nut"]
    # a free mass answers with the square of speed over its weight, and weight goes with speed to -3
    assert guess.mean[-1].real == pytest.approx(2.0 * (150 / 156) ** 5)
    assert guess.alike == ("Larch 50",)
    assert guesses_of(MODEL, SHARE * 150_000, [near], rig="south") == {}
    assert guesses_of(MODEL, SHARE * 150_000, [alike("x", 156_000.0, 2.0, n=3)], rig="north") == {}
    own = [lesson(1.5)]
    leant = priors_of(own, MODEL, SHARE * 150_000, rig="north", guesses={"nut": guess})["nut"]
    assert 1.5 < leant.mean[-1].real < guess.mean[-1].real and leant.alike and leant.units == 1
    other = priors_of([lesson(-1.5)], MODEL, SHARE * 150_000, rig="north", guesses={"nut": guess})
    assert other["nut"].mean[-1].real == pytest.approx(-1.5) and not other["nut"].alike
    many = priors_of(own * 4, MODEL, SHARE * 150_000, rig="north", guesses={"nut": guess})["nut"]
    assert many.mean[-1].real == pytest.approx(1.5)


def test_models_of_like_size_with_a_common_plane_are_alike():
    models = [
        model_of(n, s, 52.0) for n, s in (("a", 148e3), ("b", 90e3), ("c", 170e3), ("d", 152e3))
    ]
    other = models[0].model_copy(update={"name": "e", "plane": [models[0].plane[1]]})
    found = nearest_alike(other, [*models, other])
    # "e" turns as fast as "a"; "b" is too slow to be like it
    assert [m.name for m in found] == ["a", "d", "c"]
    assert [m.name for m in nearest_alike(other, models, most=1)] == ["a"]
