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


def test_a_force_is_turned_into_unbalance_whatever_its_size_and_angle():
    """F = U omega²: 3 N at 100 rad/s is 3 / 10^4 kg·m, that is 300 g·mm; the angle stays."""
    rpm = 100 * 60 / (2 * np.pi)
    assert unbalance_from_force([3j, -6], rpm) == pytest.approx(np.array([300j, -600]))


def test_what_the_supports_feel_balances_the_moments_about_each():
    """Sums of moments about A and about B, written out, for planes on both sides of a support."""
    geometry = RotorGeometry(10.0, 110.0, (-20.0, 60.0))
    one, two = 4 + 1j, -2 + 3j
    at_b = (one * (-20 - 10) + two * (60 - 10)) / 100
    at_a = (one * (110 + 20) + two * (110 - 60)) / 100
    assert support_unbalance([one, two], geometry) == pytest.approx(np.array([at_a, at_b]))
    assert geometry.supports_mm == (10.0, 110.0)


def test_many_runs_are_transferred_at_once():
    many = np.arange(12).reshape(2, 3, 2) + 1j
    moved = transfer(many, (0.0, 100.0), (20.0, 70.0))
    assert moved.shape == (2, 3, 2)
    for i, j in np.ndindex(2, 3):
        assert moved[i, j] == pytest.approx(transfer(many[i, j], (0.0, 100.0), (20.0, 70.0)))


@pytest.mark.parametrize("planes", [(50.0, 50.0), (50.0, 50.0 + 1e-12)])
def test_two_planes_that_are_one_are_refused(planes):
    for call in (lambda: transfer([1.0], [0.0], planes), lambda: couple_pair(1.0, planes)):
        with pytest.raises(BadInput, match=r"^The two planes are one\.") as refused:
            call()
        assert "apart" in refused.value.remedy


def test_a_couple_pair_is_the_couple_and_no_force():
    for planes in ((10.0, 60.0), (-30.0, -29.0)):
        pair = couple_pair(5 - 2j, planes)
        assert pair.sum() == pytest.approx(0)
        assert (pair * planes).sum() == pytest.approx(5 - 2j)


def test_parts_of_a_rotor_with_its_mass_centre_off_the_middle():
    # by hand: planes 30 before and 70 after the centre of mass
    parts = parts_of([2, 3j], [10.0, 110.0], 40.0)
    assert (parts.static, parts.couple) == (2 + 3j, 2 * -30 + 3j * 70)
    assert parts.kind == "dynamic" and parts.at_mm is None
    one_place = parts_of([3, 1], [10.0, 110.0], 40.0)  # 1/4 of the way from 10 to 110
    assert one_place.kind == "quasi-static" and one_place.at_mm == pytest.approx(35)
    at_the_centre = parts_of([7, 3], [10.0, 110.0], 40.0)  # 3/10 of the way
    assert at_the_centre.kind == "static" and at_the_centre.at_mm == 40.0
    none = parts_of([0, 0], [10.0, 110.0], 40.0)
    assert (none.static, none.couple, none.at_mm) == (0, 0, None)
    assert parts_of([3, -3], [10.0, 110.0], 40.0).at_mm is None
    assert parts_of(2.0, 40.0, 40.0).kind == "static"  # one plane alone


@pytest.mark.parametrize(("share", "worth_a_word"), [(0.04, False), (0.06, True)])
def test_less_than_a_twentieth_is_not_worth_a_word(share, worth_a_word):
    """Shares of the whole: of the sum of the amounts, and of that times the planes' distance."""
    planes, size = [0.0, 200.0], 10.0  # an amount, g·mm, that is neither 1 nor 0
    force = share * size  # the static part, beside a couple
    kind = parts_of([(size + force) / 2, (force - size) / 2], planes, 100.0).kind
    assert kind == ("quasi-static" if worth_a_word else "couple")
    off = share * 200.0  # of the planes' distance, out of the middle
    kind = parts_of([size * (0.5 - off / 200), size * (0.5 + off / 200)], planes, 100.0).kind
    assert kind == ("quasi-static" if worth_a_word else "static")
    # one force at plane 1, and a couple a quarter turn away that is `share` of the force at the whole arm
    twist = 1j * share * size
    kind = parts_of([size - twist, twist], planes, 100.0).kind
    assert kind == ("dynamic" if worth_a_word else "quasi-static")


def test_a_twentieth_itself_is_worth_a_word():
    assert parts_of([52.5, -47.5], [0.0, 200.0], 100.0).kind == "quasi-static"  # 5 of 100
    assert parts_of([5.0, 5.0], [-125.0, 75.0], -35.0).kind == "quasi-static"  # 10 of 200 mm


def test_what_is_an_unbalance_is_complex_whatever_it_is_made_of():
    assert unbalance_from_force([1.0, 2.0], 100.0).dtype == np.complex128
    assert couple_pair(1.0, (0.0, 1.0)).dtype == np.complex128


def test_arrangements():
    assert RotorGeometry(0, 100, (-40, -10)).arrangement == "overhung at A"
    assert RotorGeometry(0, 100, (110, 130)).arrangement == "overhung at B"
    assert RotorGeometry(0, 100, (0, 100)).arrangement == "inboard"
    assert RotorGeometry.from_abc(10, 50, 20).arrangement == "inboard"
    assert RotorGeometry.from_abc(-10, 150, 20).arrangement == "overhung at A"
    assert RotorGeometry.from_abc(10, 150, -20).arrangement == "overhung at B"
    assert RotorGeometry.from_abc(-10, 150, -20).arrangement == "overhung at both"
    assert RotorGeometry.from_abc(150, 30, -80).arrangement == "overhung at B"


@pytest.mark.parametrize(
    ("positions", "words"),
    [
        (
            {"support_b_mm": 0.0},
            r"^Support B \(0 mm\) does not lie after support A \(0 mm\)\. Measure",
        ),
        (
            {"planes_mm": (60.0, 50.0)},
            r"^Plane 2 \(50 mm\) does not lie after plane 1 \(60 mm\)\. Give",
        ),
        ({"planes_mm": (50.0, 50.0)}, "^Plane 2"),
        ({"planes_mm": (-60.0, 50.0), "shaft_mm": (-50.0, 150.0)}, "beyond the shaft"),
        ({"planes_mm": (float("nan"), 50.0)}, "not a number"),
        ({"support_a_mm": 200.0}, "Support B"),
        ({"support_a_mm": -60.0, "shaft_mm": (-50.0, 150.0)}, "^Support a at -60 mm lies beyond"),
        ({"support_b_mm": 160.0, "shaft_mm": (-50.0, 150.0)}, "^Support b at 160 mm lies beyond"),
        (
            {"planes_mm": (20.0, 160.0), "shaft_mm": (-50.0, 150.0)},
            "^Plane 2 at 160 mm lies beyond",
        ),
        ({"mass_centre_mm": float("inf")}, "not a number"),
    ],
)
def test_impossible_geometry_is_refused(positions, words):
    usual = {"support_a_mm": 0.0, "support_b_mm": 100.0, "planes_mm": (20.0, 80.0)}
    with pytest.raises(BadInput, match=words) as refused:
        RotorGeometry(**(usual | positions))
    assert refused.value.remedy


def test_planes_and_supports_may_be_close():
    geometry = RotorGeometry(0.0, 0.5, (0.1, 0.2))
    assert support_unbalance([2, 2], geometry) == pytest.approx(np.array([2.8, 1.2]))
    assert couple_pair(1.0, geometry.planes_mm) == pytest.approx(np.array([-10, 10]))


def test_the_ends_of_a_shaft_belong_to_it():
    geometry = RotorGeometry(0.0, 100.0, (-20.0, 120.0), 50.0, shaft_mm=(-20.0, 120.0))
    assert geometry.arrangement == "overhung at both"


def test_a_rotor_that_stands_is_refused():
    for standing in (0.0, -1.0, float("nan")):
        with pytest.raises(BadInput, match=r"^The speed is .* A rotor has to turn"):
            unbalance_from_force([1.0, 2.0], standing)
    assert unbalance_from_force(1.0, 0.5) == pytest.approx(1e6 / (0.5 * 2 * np.pi / 60) ** 2)
