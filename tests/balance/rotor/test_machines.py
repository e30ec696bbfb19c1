"""Tooling errors, machine proofs and matching."""

import itertools

import numpy as np
import pytest
from conftest import polar
from hypothesis import given, settings
from hypothesis import strategies as st

from heavyspot.balance.rotor.machine_proof import (
    MASS_OVER_LEAST,
    RATIO_BAND,
    compensator_test,
    masses_for,
    reduction_test,
    residual_test,
)
from heavyspot.balance.rotor.matching import match_parts
from heavyspot.balance.rotor.tooling import (
    Contribution,
    budget,
    compensated,
    half_key_gmm,
    index_method,
    runout_gmm,
)
from heavyspot.quantities.errors import BadInput


def test_index_by_half_a_turn(case):
    # Source: method ISO 21940-14 (case idx_180)
    c = case("idx_180")
    i, e = c["inputs"], c["expected"]
    got = index_method([polar(i["U_0"]), polar(i["U_180"])], [0, 180])
    assert got.rotor == pytest.approx(polar([e["rotor_mag"], e["rotor_deg"]]))
    assert got.fixture == pytest.approx(polar([e["fixture_mag"], e["fixture_deg"]]))
    assert compensated(polar(i["U_180"]), got.fixture, 180) == pytest.approx(got.rotor)


@settings(max_examples=40)
@given(st.integers(2, 12), st.integers(0, 1000))
def test_any_number_of_positions(n, seed):
    rng = np.random.default_rng(seed)
    rotor, fixture = (complex(*rng.standard_normal(2)) for _ in range(2))
    at = np.arange(n) * 360 / n
    got = index_method(rotor + fixture * np.exp(-1j * np.deg2rad(at)), at)
    assert got.rotor == pytest.approx(rotor) and got.fixture == pytest.approx(fixture)


def test_the_uncertainty_of_indexing_covers_the_truth():
    rng = np.random.default_rng(0)
    at, off = np.arange(6) * 60.0, []
    for _ in range(400):
        noise = 0.1 * (rng.standard_normal(6) + 1j * rng.standard_normal(6))
        got = index_method(3 + 2j * np.exp(-1j * np.deg2rad(at)) + noise, at, reading_standard=0.1)
        off.append((got.rotor - 3).real / got.standard)
    assert np.std(off) < 1.1 and np.mean(np.abs(off) < 2) > 0.94


def test_positions_too_near_are_refused():
    with pytest.raises(BadInput, match="near each other"):
        index_method([1, 2], [0, 2])
    with pytest.raises(BadInput, match="two or more"):
        index_method([1], [0])


def test_contributions(case):
    c = case("err_combined")  # ISO 21940-14, from memory; identity
    parts = [Contribution(str(k), e) for k, e in enumerate(c["inputs"]["errors"])]
    assert budget(parts) == pytest.approx((c["expected"]["rss"], c["expected"]["pessimistic_sum"]))
    assert runout_gmm(2.0, 0.01) == pytest.approx(10.0)  # 2 kg half a hundredth of a millimetre off
    assert half_key_gmm(20, 15, key_height_mm=8) == pytest.approx(0.5 * 20 * 17)


def test_residual_test_of_a_machine_at_its_claim(case):
    # Source: ISO 21940-21 (ex ISO 2953), from memory (case umar_ratio): a rotor left with exactly the claim
    c = case("umar_ratio")
    e, at = c["expected"], np.arange(12) * 30.0
    assert c["inputs"]["test_mass_over_Umar"] == MASS_OVER_LEAST and RATIO_BAND == (0.88, 1.12)
    amounts = np.abs(1 + MASS_OVER_LEAST * np.exp(1j * np.deg2rad(at)))
    proof = residual_test(amounts)
    values = [p.value for p in proof.points]
    assert min(values) == pytest.approx(e["ratio_min"], rel=2e-3)
    assert max(values) == pytest.approx(e["ratio_max"], rel=2e-3)
    assert proof.passed == bool(e["passes"])
    assert not residual_test(np.abs(2 + 10 * np.exp(1j * np.deg2rad(at)))).passed


def test_one_point_outside_is_repeated():
    amounts = np.full(12, 10.0)
    amounts[3] = 12.0
    proof = residual_test(amounts)
    assert not proof.passed and proof.outside == [90.0] and "repeat" in proof.text


def test_reduction_test():
    # Source: ISO 21940-21, from memory (case urr_test): circles of (1 - claim) * resultant + least, claim 95 %
    at = np.arange(12)[np.arange(12) != 4] * 30.0
    travelling, still = 150 * np.exp(1j * np.deg2rad(at)), 30 * np.exp(2j)
    good = (still + travelling) * 1.03
    assert reduction_test(good, still, travelling, least_gmm=1.0).passed
    bad = reduction_test((still + travelling) * 1.08, still, travelling, least_gmm=1.0)
    assert not bad.passed and "92" in bad.text
    true = still + travelling
    off = (0.05 * np.abs(true) + 1.0) * np.exp(
        1j * np.arange(11)
    )  # on the circles, every way round
    assert reduction_test(true + 0.99 * off, still, travelling, least_gmm=1.0).passed
    off[6] *= 1.02 / 0.99
    one_out = reduction_test(true + 0.99 * off, still, travelling, least_gmm=1.0)
    assert not one_out.passed and one_out.outside == [pytest.approx(at[6])]
    assert reduction_test(true + 0.99 * off, still, travelling, least_gmm=1.0, claimed=0.94).passed


def test_compensator_test_and_masses():
    fine = compensator_test([5, 5.1, 5, 4.9], compensated_gmm=50, least_gmm=0.5)
    assert fine.passed
    assert not compensator_test([5, 9, 5, 9], compensated_gmm=50, least_gmm=0.5).passed
    assert masses_for(0.5, 50) == pytest.approx(
        {"residual_g": 0.1, "stationary_g": 0.3, "travelling_g": 1.5}
    )


@pytest.mark.parametrize(
    ("amounts", "words"),
    [([1] * 5, "positions"), ([1] * 11 + [0], "dead"), ([1] * 11 + [float("nan")], "above zero")],
)
def test_bad_proofs_are_refused(amounts, words):
    with pytest.raises(BadInput, match=words):
        residual_test(amounts)


def vectors(rng, n, size):
    return size * (rng.standard_normal(n) + 1j * rng.standard_normal(n))


def brute_force(kinds, steps):
    """Every pairing, every turn on a fine grid or on the steps, by plain loops over permutations."""
    n = len(kinds[0])
    turns = [np.exp(1j * np.deg2rad(np.arange(0, 360, s or 1.0))) for s in steps]
    two = kinds[1][:, None] * turns[1]
    if len(kinds) == 2:
        cost = np.abs(kinds[0][:, None, None] + two[None]).min(axis=2)
        return min(sum(cost[i, p[i]] for i in range(n)) for p in itertools.permutations(range(n)))
    pair = kinds[0][:, None, None] + two[None]
    three = kinds[2][:, None] * turns[2]
    cost = np.abs(pair[:, :, None, :, None] + three[None, None, :, None, :]).min(axis=(3, 4))
    return min(
        sum(cost[i, p[i], q[i]] for i in range(n))
        for p in itertools.permutations(range(n))
        for q in itertools.permutations(range(n))
    )


@pytest.mark.parametrize("seed", range(12))
def test_small_sets_are_matched_as_well_as_by_trying_all(seed):
    rng = np.random.default_rng(seed)
    n = int(rng.integers(2, 5))
    steps = [(0, 0, 0), (0, 60, 0), (0, 0, 60), (0, 60, 60)][seed % 4]
    kinds = [vectors(rng, n, s) for s in rng.uniform(0.3, 2, 3)]
    got = match_parts(kinds, steps_deg=steps)
    best = brute_force(kinds, steps)
    grid = sum(float(np.abs(k).sum()) for k in kinds) * np.deg2rad(1.0)  # the grid's own coarseness
    assert best - grid <= got.total <= best + 1e-9
    assert got.bound <= got.total + 1e-9
    two = match_parts(kinds[:2], steps_deg=steps[:2])
    assert two.total <= brute_force(kinds[:2], steps[:2]) + 1e-9


def test_what_is_said_to_be_left_is_left():
    rng = np.random.default_rng(3)
    kinds = [vectors(rng, 30, s) for s in (1, 2, 0.4)]
    got = match_parts(kinds, steps_deg=[0, 60, 0])
    for j in range(3):
        assert sorted(m.members[j] for m in got.matches) == list(range(30))
    for m in got.matches:
        left = sum(
            k[i] * np.exp(1j * np.deg2rad(t))
            for k, i, t in zip(kinds, m.members, m.turned_deg, strict=True)
        )
        assert left == pytest.approx(m.residual)
        assert m.turned_deg[1] % 60 == 0
    assert got.total == pytest.approx(sum(abs(m.residual) for m in got.matches))


def test_a_large_set_is_near_its_bound():
    rng = np.random.default_rng(1)
    kinds = [vectors(rng, 200, s) for s in (1, 1.2, 0.5)]
    got = match_parts(kinds)
    apart = sum(float(np.abs(k).sum()) for k in kinds)
    assert got.total - got.bound < 0.005 * apart


@pytest.mark.parametrize("size", [1e308, complex(1.7e308, 1.7e308), float("inf"), float("nan")])
def test_an_unbalance_that_no_sum_can_hold_is_refused(size):
    with pytest.raises(BadInput, match="not a number"):
        match_parts([[size, 1.0], [1e308, size]])


def test_a_step_finer_than_anybody_can_turn_is_refused():
    with pytest.raises(BadInput, match="finer"):
        match_parts([[1.0], [1.0]], steps_deg=[0.0, 2.0**-30])


def test_bad_sets_are_refused():
    with pytest.raises(BadInput, match="as many"):
        match_parts([[1, 2], [1]])
    with pytest.raises(BadInput, match="divide"):
        match_parts([[1], [1]], steps_deg=[0, 50])
    with pytest.raises(BadInput, match="kinds"):
        match_parts([[1]])
    with pytest.raises(BadInput, match="not a number"):
        match_parts([[np.nan], [1]])
