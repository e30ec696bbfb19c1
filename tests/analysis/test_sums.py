"""Sums of the trade from Python: one's own vectors, and what may stay in the units people have."""

from typing import Any

import numpy as np
import pytest

import heavyspot
from heavyspot import four_run, index, influence, least_squares, min_max, tolerance, vector

ASKED: Any = {"mass": 2.0, "speed_rpm": 3600.0}


def test_two_planes_from_trial_weights_and_back():
    """A rotor of known responses: what the method must find is what was put in (algebra, no source needed)."""
    rng = np.random.default_rng(7)
    response = rng.normal(size=(4, 2)) + 1j * rng.normal(size=(4, 2))
    there = vector([12.0, 7.5], [40.0, 310.0])
    trial = vector([5.0, 4.0], [0.0, 90.0])
    before = response @ there
    after = [before + response[:, p] * trial[p] for p in range(2)]
    found = influence(before, after, trial)
    assert np.allclose(found, response)
    for solved in (least_squares(found, before), min_max(found, before)):
        assert solved.amount == pytest.approx([12.0, 7.5], rel=1e-5)
        assert solved.angle_deg == pytest.approx([40.0, 310.0], abs=1e-3)
    assert least_squares(found, before) == least_squares(found, before)
    assert len({least_squares(found, before), least_squares(found, before)}) == 1


def test_min_max_leaves_the_least_highest_and_least_squares_the_least_sum():
    """By their definitions (Goodman 1964 for the squares), against a search by numpy over the plane."""
    response = np.array([[1.0], [0.4 + 0.2j], [0.7 - 0.5j]])
    reading = np.array([1.0 + 1.0j, 0.9, -0.3j])
    grid = np.linspace(-2, 2, 401)
    u = (grid[:, None] + 1j * grid[None, :])[..., None]
    left = np.abs(reading - u * response[:, 0])
    squares, highest = least_squares(response, reading), min_max(response, reading)
    step = grid[1] - grid[0]
    assert (np.abs(squares.residual) ** 2).sum() <= (left**2).sum(axis=-1).min() + 1e-12
    assert np.abs(highest.residual).max() <= left.max(axis=-1).min() + 1e-9
    at = np.unravel_index(left.max(axis=-1).argmin(), left.shape[:2])
    assert abs(u[at][0] - highest.unbalance[0]) < 3 * step


def test_four_runs_against_the_circles_of_the_drawing_board():
    """The graphical construction: the effect's tip lies on each circle R_i about -E e^(ja): met by a search."""
    original, trial, angles = 8.0, 10.0, np.array([0.0, 120.0, 240.0])
    effect, heavy = 6.0, vector(8.0, 200.0)
    read = np.abs(heavy + effect * np.exp(1j * np.deg2rad(angles)))
    amount, at = four_run(original, read, angles, trial)
    tried = vector(np.full(3601, amount * effect / trial), np.linspace(0, 360, 3601))
    assert np.linspace(0, 360, 3601)[np.abs(heavy + tried).argmin()] == pytest.approx(at, abs=0.1)
    assert amount == pytest.approx(10.0 * 8.0 / 6.0)
    with pytest.raises(heavyspot.BadInput, match="evenly"):
        four_run(8.0, read, [0, 90, 240], 10.0)


def test_indexing_by_half_a_turn_is_half_the_sum_and_half_the_difference():
    """The handbook rule for two positions (common practice; algebra)."""
    rotor, fixture = complex(vector(9.0, 30.0)), complex(vector(4.0, 250.0))
    found = index([rotor + fixture, rotor - fixture], [0, 180])
    assert found.rotor == pytest.approx(rotor) and found.fixture == pytest.approx(fixture)


@pytest.mark.parametrize(
    ("mass", "unit"), [(100.0, "lb"), (45.359237, "kg"), (45_359.237, "g"), (1600.0, "oz")]
)
def test_what_may_stay_in_pounds_and_ounce_inches(mass, unit):
    """1 lb = 0.45359237 kg, 1 oz = 28.349523125 g, 1 in = 25.4 mm exactly (NIST SP 811, appendix B.8).

    6.015 G W / N oz-in is the form of the grade in those units (handbooks, from memory); 4 W / N with the
    journal's load (API practice, from memory).
    """
    found = tolerance(mass, 3600, 2.5, mass_unit=unit)
    assert found.permissible("oz-in") == pytest.approx(6.015 * 2.5 * 100 / 3600, rel=1e-4)
    assert found.four_w_over_n("oz-in") == pytest.approx(4 * 50 / 3600)
    assert found.permissible() == pytest.approx(found.permissible("oz-in") * 28.349523125 * 25.4)
    assert found.permissible("lb-in") * 16 == pytest.approx(found.permissible("oz-in"))
    assert found.permissible("g·in") * 25.4 == pytest.approx(found.permissible())
    assert found == tolerance(mass, 3600, 2.5, mass_unit=unit) and len({found, found}) == 1


@pytest.mark.parametrize(
    "wrong", [{"mass": -1}, {"mass": float("nan")}, {"speed_rpm": 0}, {"mass_unit": "stone"}]
)
def test_what_cannot_be_is_refused(wrong):
    with pytest.raises(heavyspot.BadInput):
        tolerance(**ASKED | wrong)
    with pytest.raises(heavyspot.BadInput, match="not known"):
        tolerance(2.0, 3600).permissible("stone-foot")
