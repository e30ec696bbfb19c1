"""The strange rigs: that they are what they say, a unit through the loop, and the long tables."""

from dataclasses import replace
from functools import partial

import numpy as np
import pytest
from loop import strange, strange_shaft
from loop.misuse import MISUSES, Misuse
from loop.strange_people import oracle
from loop.strange_shaft import Shaft
from loop.strange_world import PLANES, min_max


@pytest.mark.parametrize("rig", strange.RIGS)
def test_who_knows_the_responses_passes(rig):
    """So that a unit that does not pass is the adviser's fault."""
    for model, make in strange.RIGS[rig]().values():
        for s in range(3):
            unit = make(s)
            assert 0.25 < unit.true_peak() < 4.5
            told = strange.balance_by(model, unit, s, partial(oracle, PLANES, unit))
            assert told.runs <= 6


@pytest.mark.parametrize("rig", strange.RIGS)
def test_a_cut_changes_the_unit_and_not_what_is_locked(rig):
    _, make = next(iter(strange.RIGS[rig]().values()))
    unit = make(1)
    unit.manners = replace(unit.manners, softening=0.0)
    before = unit.vector(unit.speed_rpm)
    unit.take("nut", 30.0, 1e-3)
    change = unit.vector(unit.speed_rpm) - before
    wanted = -unit.response("nut") * 1e-3 * np.exp(1j * np.pi / 6)
    assert np.allclose(change, wanted, atol=1e-12)
    unit.unbalance = np.zeros_like(unit.unbalance)
    assert 0.05 <= unit.true_peak() <= 0.13  # 10 to 25 % of the limit


def _plain_shaft(modulus):
    at = np.linspace(0, 0.3, 7)
    none = np.zeros(7)
    return Shaft(at, none, none, none, 0.01, modulus)


def test_a_free_beam_bends_where_the_handbook_says():
    """First bending of a free slender beam: 22.373 / L^2 sqrt(E I / (rho A)), Blevins 1979."""
    wanted = 22.373 / 0.3**2 * np.sqrt(2e11 * 0.01**2 / 16 / 7_800)
    assert _plain_shaft(2e11).bending_rad_s() == pytest.approx(wanted, rel=0.01)


def test_a_rigid_rotor_in_a_free_housing_shakes_as_one_mass():
    machine = strange_shaft.kind_of("Juniper 98").middle
    shaft = _plain_shaft(2e18)
    free = replace(
        machine, shaft=shaft, stiffness=np.full(2, 1e16), damping=np.full(2, 1e-6), mass=5.0,
        mount=np.zeros((2, 2)), reach=np.array([-0.1, 0.1]), sensor_deg=np.zeros(2),
        gain=np.ones(2, complex), kept={},
    )  # fmt: skip
    speed = np.array([20_000.0, 50_000.0])
    ends = free.response(speed, np.zeros(2), 1.0)[
        3
    ]  # unbalance at mid-span, where they pitch little
    rotor = 7_800 * np.pi * 0.01**2 / 4 * 0.3
    wanted = 1e-6 * (speed * np.pi / 30) ** 2 / (5.0 + rotor) / 9.80665
    assert np.allclose(ends.mean(axis=0), wanted, rtol=1e-3)


def test_least_highest_residual():
    H = np.array([[1.0], [1.0], [1.0]], complex)
    assert np.allclose(min_max(H, np.array([0.0, 1.0, 4.0])), 2.0, atol=0.05)


def test_one_unit_through_the_loop():
    model, make = strange.RIGS["modes"]()["Willow 58"]
    told = strange.balance_strange(model, make(1), 1, [], most_runs=2)
    assert told.over_at_first and told.trace[0][0] > 1.0 and len(told.trace) == 2


def _seen(kind, make):
    """What is read in three runs with a cut after each, and what is written down."""
    stand = kind.of(make(1), 1, 2)
    read, written = [], []
    for _ in range(3):
        read.append(stand.spin())
        stand.grind("nut", 0.2 + 0.1j)
        written += stand.entry("nut", 0.2 + 0.1j)
    return np.stack(read), written


@pytest.mark.parametrize("name", [m for m in MISUSES if m != "nothing"])
def test_each_way_to_err_changes_what_is_read_or_written(name):
    _, make = strange.RIGS["modes"]()["Willow 41"]
    read, written = _seen(Misuse, make)
    other_read, other_written = _seen(MISUSES[name], make)
    assert len(other_written) < len(written) or np.abs(other_read - read).max() > 0.1
    assert np.allclose(other_read[0], read[0])


@pytest.mark.prove
@pytest.mark.parametrize("rig", strange.RIGS)
def test_the_tables(rig):
    """What the adviser must never do on a rig it was not fitted to; the tables are printed."""
    for name in strange.RIGS[rig]():
        told_name, rows = strange.one_model((rig, name, 100, 0, 2, False))
        print(told_name, *(strange.row(w, strange.figures(t)) for w, t in rows.items()), sep="\n")
        print(*strange.paired(rows), sep="\n")
        best = strange.figures(rows["oracle, both planes"])
        assert best["within six"] >= 0.98
