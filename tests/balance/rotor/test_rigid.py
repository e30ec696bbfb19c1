"""A rigid rotor on two supports: handbook identities, and properties."""

import numpy as np
import pytest
from conftest import polar
from hypothesis import given, settings
from hypothesis import strategies as st

from heavyspot.balance.rotor.rigid import (
    RotorGeometry,
    couple_pair,
    parts_of,
    plane_unbalance,
    support_unbalance,
    transfer,
    unbalance_from_force,
)
from heavyspot.quantities.errors import BadInput


def test_support_forces_of_two_planes(case):
    # Source: statics of a rigid rotor (case hard-bearing-abc)
    c = case("hard-bearing-abc")
    i, e = c["inputs"], c["expected"]
    geometry = RotorGeometry.from_abc(i["a_mm"], i["b_mm"], i["c_mm"])
    u = np.array([polar(i["plane1_gmm"]), polar(i["plane2_gmm"])])
    at = support_unbalance(u, geometry)
    for got, want in zip(at, (e["support_A"], e["support_B"]), strict=True):
        assert abs(got) == pytest.approx(want[0], abs=1e-5)
        assert np.rad2deg(np.angle(got)) % 360 == pytest.approx(want[1], abs=1e-3)
    assert plane_unbalance(at, geometry) == pytest.approx(u)


def test_planes_from_support_forces(case):
    # Source: statics (case pl_hard_bearing)
    c = case("pl_hard_bearing")
    i, e = c["inputs"], c["expected"]
    geometry = RotorGeometry.from_abc(i["a"], i["b"], i["c"])
    u = plane_unbalance([polar(i["FA"]), polar(i["FB"])], geometry)
    assert np.abs(u) == pytest.approx([e["U1_mag"], e["U2_mag"]])
    assert np.rad2deg(np.angle(u)) % 360 == pytest.approx([e["U1_deg"], e["U2_deg"]], abs=1e-4)


def test_static_and_couple(case):
    # Source: identity (case pl_static_couple)
    c = case("pl_static_couple")
    i, e = c["inputs"], c["expected"]
    parts = parts_of([polar(i["UL"]), polar(i["UR"])], [i["xL"], i["xR"]], i["xcg"])
    assert abs(parts.static) == e["static_mag"]
    pair = couple_pair(parts.couple, (i["xL"], i["xR"]))
    assert pair[0] == pytest.approx(polar([e["couple_L_mag"], e["couple_L_deg"]]))
    assert abs(parts.couple) == e["couple_gmm2"]


def test_couple_units(case):
    # Source: trade glossary, 56 oz·in² over 8 in radius and 7 in width is 1 oz a plane (case pl_couple_units)
    c = case("pl_couple_units")
    i = c["inputs"]
    pair = couple_pair(i["couple_ozin2"], (0.0, i["width_in"]))
    assert abs(pair[0]) / i["radius_in"] == pytest.approx(c["expected"]["each_plane_oz"])


def test_kinds():
    def kind(*u):
        return parts_of(u, [0.0, 100.0], 50.0)

    assert kind(2, 2).kind == "static" and kind(2, 2).at_mm == 50
    assert kind(3, -3).kind == "couple"
    assert kind(3, 1).kind == "quasi-static" and kind(3, 1).at_mm == pytest.approx(25)
    assert kind(3, 1j).kind == "dynamic"
    assert kind(0, 0).kind == "none"


@settings(max_examples=60)
@given(
    st.integers(0, 10_000), st.floats(-300, 300), st.floats(10, 500), st.floats(-300, 300),
    st.floats(10, 500),
)  # fmt: skip
def test_transfer_keeps_resultant_and_moment(seed, first, width, other, other_width):
    rng = np.random.default_rng(seed)
    u = rng.standard_normal(4) + 1j * rng.standard_normal(4)
    x = rng.uniform(-500, 500, 4)
    to = (other, other + other_width)
    moved = transfer(u, x, to)
    assert moved.sum() == pytest.approx(u.sum(), abs=1e-9 * 1e3)
    assert (moved * to).sum() == pytest.approx((u * x).sum(), abs=1e-6)
    again = transfer(moved, to, (first, first + width))
    assert again == pytest.approx(transfer(u, x, (first, first + width)), abs=1e-6)


def test_force_is_unbalance_times_speed_squared(case):
    e = case("force-1gmm")["expected"]
    assert abs(unbalance_from_force(e["force_n"], 150_000)) == pytest.approx(1.0, rel=1e-9)


def test_arrangements():
    assert RotorGeometry.from_abc(10, 50, 20).arrangement == "inboard"
    assert RotorGeometry.from_abc(-10, 150, 20).arrangement == "overhung at A"
    assert RotorGeometry.from_abc(10, 150, -20).arrangement == "overhung at B"
    assert RotorGeometry.from_abc(-10, 150, -20).arrangement == "overhung at both"
    assert RotorGeometry.from_abc(150, 30, -80).arrangement == "overhung at B"


@pytest.mark.parametrize(
    ("positions", "words"),
    [
        ({"support_b_mm": 0.0}, "Support B"),
        ({"planes_mm": (50.0, 50.0)}, "Plane 2"),
        ({"planes_mm": (-60.0, 50.0), "shaft_mm": (-50.0, 150.0)}, "beyond the shaft"),
        ({"planes_mm": (float("nan"), 50.0)}, "not a number"),
    ],
)
def test_impossible_geometry_is_refused(positions, words):
    usual = {"support_a_mm": 0.0, "support_b_mm": 100.0, "planes_mm": (20.0, 80.0)}
    with pytest.raises(BadInput, match=words):
        RotorGeometry(**(usual | positions))


def test_a_rotor_that_stands_is_refused():
    with pytest.raises(BadInput, match="has to turn"):
        unbalance_from_force([1.0, 2.0], 0.0)
