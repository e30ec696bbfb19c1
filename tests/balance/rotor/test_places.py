"""Corrections at fixed places, with sets of masses, in more planes."""

import itertools

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from heavyspot.balance.rotor.mass_sets import set_of_masses
from heavyspot.balance.rotor.places import least_removal, split_over
from heavyspot.balance.rotor.rigid import lever_matrix
from heavyspot.quantities.errors import BadInput


def deg(amount, angle):
    return amount * np.exp(1j * np.deg2rad(angle))


def test_split_between_two_of_five(case):
    # Source: law of sines (case split-two-places)
    c = case("split-two-places")
    i = c["inputs"]
    got = split_over(deg(i["amount"], i["angle_deg"]), [0, 72, 144, 216, 288])
    assert got.amounts[:2] == pytest.approx(c["expected"]["amounts"], rel=1e-6)
    assert got.amounts[2:].sum() == 0 and abs(got.residual) < 1e-9


def test_split_of_the_field_handbook(case):
    # Source: US Bureau of Reclamation FIST 2-2, Example 4; published by scaling a drawing, exact value asked
    c = case("split_50lb_15deg")
    i = c["inputs"]
    got = split_over(deg(i["amount"], i["angle"]), [i["pos_a"], i["pos_b"]])
    assert got.amounts == pytest.approx(
        [c["recomputed"]["at_a"], c["recomputed"]["at_b"]], rel=1e-5
    )


@settings(max_examples=50)
@given(st.integers(3, 14), st.floats(0.1, 50), st.floats(0, 360), st.floats(0.1, 1.0))
def test_caps_are_kept_and_more_places_share(places, amount, angle, share):
    at = np.arange(places) * 360 / places
    got = split_over(deg(amount, angle), at, most_each=share * amount)
    assert (got.amounts <= share * amount * (1 + 1e-6)).all() and (got.amounts >= 0).all()
    made = (got.amounts * np.exp(1j * np.deg2rad(at))).sum()
    assert made + got.residual == pytest.approx(deg(amount, angle), abs=1e-6 * amount)


def test_what_cannot_be_made_comes_as_near_as_can_be():
    got = split_over(deg(10, 180), [0, 90])
    assert got.amounts.sum() == pytest.approx(0, abs=1e-3) and abs(got.residual) == pytest.approx(
        10
    )
    capped = split_over(deg(10, 45), [0, 90], most_each=2.0)
    assert capped.amounts == pytest.approx([2, 2])


@pytest.mark.parametrize("seed", range(8))
def test_whole_masses_are_as_good_as_trying_all(seed):
    rng = np.random.default_rng(seed)
    places, each, stock = np.arange(4) * 90.0 + rng.uniform(0, 40), [1.0, 2.5], [3, 2]
    wanted = deg(rng.uniform(0.5, 6), rng.uniform(0, 360))
    got = set_of_masses(wanted, places, each, stock=stock, most_at_place=2)
    assert (got.counts.sum(axis=0) <= stock).all() and (got.counts.sum(axis=1) <= 2).all()
    best = np.inf
    for counts in itertools.product(range(3), repeat=8):
        c = np.array(counts).reshape(4, 2)
        used = c.any(axis=1).sum()  # a technician uses three places at most
        if used <= 3 and (c.sum(axis=0) <= stock).all() and (c.sum(axis=1) <= 2).all():
            made = (c @ each * np.exp(1j * np.deg2rad(places))).sum()
            best = min(best, abs(wanted - made))
    assert abs(got.residual) <= best + 0.02 * min(each) + 1e-9


def test_least_removal_in_three_planes_takes_no_more_than_in_any_two():
    rng = np.random.default_rng(5)
    x = [10.0, 60.0, 140.0]
    levers = lever_matrix(x, (0.0, 150.0))
    for _ in range(20):
        b = rng.standard_normal(2) + 1j * rng.standard_normal(2)
        got = least_removal(b.tolist(), levers)
        assert levers @ got == pytest.approx(b, abs=1e-6)
        for pair in itertools.combinations(range(3), 2):
            u = np.linalg.solve(levers[:, pair], b)
            assert np.abs(got).sum() <= np.abs(u).sum() + 1e-6
    spared = least_removal(b.tolist(), levers, may_stay=(0.3 * np.abs(b)).tolist())
    assert np.abs(spared).sum() < np.abs(got).sum()
    assert (np.abs(b - levers @ spared) <= 0.3 * np.abs(b) + 1e-6).all()


def test_bad_calls_are_refused():
    with pytest.raises(BadInput, match="two or more"):
        split_over(1, [0])
    with pytest.raises(BadInput, match="negative"):
        split_over(1, [0, 90], most_each=[-1, 2])
    with pytest.raises(BadInput, match="above zero"):
        set_of_masses(1, [0, 90], [0.0])
    with pytest.raises(BadInput, match="stock"):
        set_of_masses(1, [0, 90], [1.0], stock=[1, 2])
    with pytest.raises(BadInput, match="planes"):
        least_removal([1, 1], [[1, 1], [1, 1]])
