"""Units against published constants."""

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from heavyspot.quantities import units
from heavyspot.quantities.angles import (
    angle_from_clock,
    clock_hour,
    clock_text,
    difference_deg,
    wrap_deg,
)
from heavyspot.quantities.errors import BadInput


def test_calibrator_frequency(case):
    # Source: vibration calibrator, omega = 1000 rad/s (case unit_159)
    c = case("unit_159")
    f, a = c["inputs"]["f_Hz"], c["inputs"]["a_m_s2"]
    assert units.velocity_mm_s_from_acceleration_m_s2(a, f) == pytest.approx(10, rel=1e-6)
    assert units.displacement_um_from_acceleration_m_s2(a, f) == pytest.approx(10, rel=1e-6)


def test_standard_gravity_and_inch_constants(case):
    # Source: NIST (g_n exact); svcommunity.com conversion page (case unit_constants)
    e = case("unit_constants")["expected"]
    assert e["g_n"] == units.G_N
    g_rms_at_1hz = units.velocity_mm_s_from_acceleration_m_s2(units.G_N * np.sqrt(2), 1.0)
    assert g_rms_at_1hz / units.INCH_MM == pytest.approx(e["grms_to_ips_pk"], rel=1e-4)


def test_ounce_inch_force_and_tip_speed(case):
    # Sources: definitions; F = u w²; v = pi D n / 60
    assert pytest.approx(case("unit-ozin")["expected"]["gmm"], rel=1e-12) == units.OZ_IN_GMM
    assert units.force_n(1, 150_000) == pytest.approx(
        case("force-1gmm")["expected"]["force_n"], rel=1e-12
    )
    assert units.tip_speed_m_s(60, 150_000) == pytest.approx(
        case("tip_60mm_150k")["expected"]["tip_m_s"], rel=1e-5
    )


@pytest.mark.parametrize("unit", ["mV", "bananas/g", "V/kg", ""])
def test_unknown_sensitivity_is_refused(unit):
    with pytest.raises(BadInput, match="sensitivity"):
        units.sensitivity_v_per_unit(100, unit)


@given(st.floats(-1e6, 1e6))
def test_wrap_and_difference(angle):
    assert 0 <= wrap_deg(angle) < 360
    assert -180 < difference_deg(angle, 0) <= 180


@given(st.floats(0, 359.999), st.sampled_from(["clockwise", "counterclockwise"]))
def test_clock_is_its_own_inverse(angle, rotation):
    back = angle_from_clock(clock_hour(angle, rotation), rotation)
    assert abs(difference_deg(back, angle)) < 1e-6


def test_clock_mirrors_with_rotation():
    # Angles grow against rotation: on a clockwise rotor they run backwards round the clock.
    assert clock_text(90, "clockwise") == "9:00"
    assert clock_text(90, "counterclockwise") == "3:00"
