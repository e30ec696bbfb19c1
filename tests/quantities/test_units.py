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


def test_turning_frequency_and_angular_speed():
    # Source: definitions, one turn is 2 pi; 159.155 Hz is 1000 rad/s (case unit_159)
    assert units.hz_from_rpm(150_000) == pytest.approx(2500)
    assert units.omega_from_rpm(60) == pytest.approx(2 * np.pi)
    assert units.omega_from_rpm(9549.2966) == pytest.approx(1000, rel=1e-8)


def test_a_force_goes_with_the_unbalance_and_the_square_of_the_speed():
    # 2 g·mm at 60 / 2 pi * 100 rpm is 100 rad/s: 2e-6 kg m * 1e4 / s²
    assert units.force_n(2, 6000 / (2 * np.pi)) == pytest.approx(0.02)


@pytest.mark.parametrize("amplitude", [1.0, 4.0])
def test_velocity_and_displacement_are_the_integrals_of_a_sine(amplitude):
    """A sine of acceleration, integrated numerically over a quarter of its turn and again."""
    hz, n = 80.0, 20_001
    t = np.linspace(0, 1 / (4 * hz), n)
    velocity = np.trapezoid(amplitude * np.cos(2 * np.pi * hz * t), t)
    displacement = np.trapezoid(velocity * np.sin(2 * np.pi * hz * t), t)
    got = units.velocity_mm_s_from_acceleration_m_s2(amplitude, hz)
    assert got == pytest.approx(1e3 * velocity, rel=1e-6)
    got = units.displacement_um_from_acceleration_m_s2(amplitude, hz)
    assert got == pytest.approx(1e6 * displacement, rel=1e-6)


def test_acceleration_units_are_those_of_standard_gravity():
    # Source: CGPM 1901, 9.80665 m/s² exactly
    assert units.ACCELERATION_IN_G["g"] == 1
    for spelt in ("m/s²", "m/s2", "m/s^2"):
        assert 9.80665 * units.ACCELERATION_IN_G[spelt] == pytest.approx(1, rel=1e-12)


@pytest.mark.parametrize(
    ("value", "unit", "volts", "per"),
    [
        (100, "mV/g", 0.1, "g"),
        (0.5, "V/g", 0.5, "g"),
        (-10.2, "mV/(m/s²)", -0.0102, "m/s²"),
        (10, " mV / m/s^2 ", 0.01, "m/s^2"),
        (4, "mV/mm/s", 0.004, "mm/s"),
        (2, "V/(mm/s)", 2, "mm/s"),
        (22, "mV/N", 0.022, "N"),
        (1, "V/rpm", 1, "rpm"),
        (50, "mV/kPa", 0.05, "kPa"),
        (10, "mV/°C", 0.01, "°C"),
        (0.1, "V/%", 0.1, "%"),
    ],
)
def test_a_sensitivity_as_it_stands_on_a_certificate(value, unit, volts, per):
    got, physical = units.sensitivity_v_per_unit(value, unit)
    assert (got, physical) == (pytest.approx(volts, rel=1e-12), per)


@pytest.mark.parametrize("unit", ["mV/(g", "mV/g)", "g/mV", "MV/g", "mv/g"])
def test_a_unit_half_written_is_refused_with_those_that_are_known(unit):
    with pytest.raises(BadInput, match=r"^sensitivity unit is ") as refused:
        units.sensitivity_v_per_unit(100, unit)
    assert "kPa, m/s2" in refused.value.remedy and refused.value.remedy.endswith("°C.")


@pytest.mark.parametrize("value", [0, float("nan"), float("inf")])
def test_a_sensitivity_of_nothing_is_refused(value):
    with pytest.raises(BadInput, match=f"^sensitivity is {value}") as refused:
        units.sensitivity_v_per_unit(value, "mV/g")
    assert "certificate" in refused.value.remedy
