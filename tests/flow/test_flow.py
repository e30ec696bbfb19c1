"""Flow: ISO 5167 against published values and the general `fluids` library, air, corrected flow, nozzles."""

import math

import fluids
import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from heavyspot.flow.air import Air
from heavyspot.flow.element import Element, Laminar, spread_of
from heavyspot.flow.machine import (
    Reference,
    compressor_efficiency,
    corrected_flow,
    corrected_speed,
    leak_kg_s,
    turbine_efficiency,
)
from heavyspot.flow.nozzles import Way, fit_nozzle, set_stop
from heavyspot.flow.sonic import CRITICAL, SonicNozzle, ideal_ratio
from heavyspot.flow.use import LIMITS, check_element, check_flow, reynolds_limits
from heavyspot.quantities.errors import BadInput

METERS = {
    "orifice": "ISO 5167 orifice",
    "isa 1932 nozzle": "ISA 1932 nozzle",
    "long radius nozzle": "long radius nozzle",
    "venturi nozzle": "venturi nozzle",
    "venturi as cast": "as cast convergent venturi tube",
    "venturi machined": "machined convergent venturi tube",
    "venturi welded": "rough welded convergent venturi tube",
}


def test_coefficients_are_the_published_ones(case):
    given, wanted = case("fl_rhg_C")["inputs"], case("fl_rhg_C")["expected"]
    reynolds = 4 * given["m"] / (math.pi * given["D"] * given["mu"])
    for taps in given["taps"]:
        element = Element("orifice", 1e3 * given["D"], 1e3 * given["Do"], taps)
        assert element.coefficient(reynolds) == pytest.approx(wanted[f"C_{taps}"], rel=1e-9)


def test_expansibility_and_mass_flow_are_the_published_ones(case):
    given = case("fl_eps")["inputs"]
    element = Element("orifice", 1e3 * given["D"], 1e3 * given["Do"], kappa=given["k"])
    found = element.expansibility(given["P1"] / 1e3, (given["P1"] - given["P2"]) / 1e3)
    assert found == pytest.approx(case("fl_eps")["expected"]["epsilon"], rel=1e-9)
    given = case("fl_orifice_m")["inputs"]
    element = Element("orifice", 1e3 * given["D"], 1e3 * given["Do"], given["taps"], given["k"])
    flow = element.mass_flow_kg_s(
        given["P1"] / 1e3, (given["P1"] - given["P2"]) / 1e3, given["rho"], given["mu"]
    )
    assert flow == pytest.approx(case("fl_orifice_m")["expected"]["m_kg_s"], rel=1e-8)


@pytest.mark.parametrize("kind", list(METERS))
@given(
    pipe=st.floats(75, 300), beta=st.floats(0.35, 0.7), upstream=st.floats(95, 300), share=st.floats(0.002, 0.2),
)  # fmt: skip
def test_every_element_against_fluids(kind, pipe, beta, upstream, share):
    """The `fluids` library, used in the tests only."""
    air = Air(upstream, 21.0)
    drop = share * upstream
    ours = Element(kind, pipe, beta * pipe).mass_flow_kg_s(
        upstream, drop, air.density_kg_m3, air.viscosity_pa_s
    )
    taps = "corner" if kind == "orifice" else None
    theirs = fluids.differential_pressure_meter_solver(
        D=pipe / 1e3, D2=beta * pipe / 1e3, P1=1e3 * upstream, P2=1e3 * (upstream - drop),
        rho=air.density_kg_m3, mu=air.viscosity_pa_s, k=1.4, meter_type=METERS[kind], taps=taps,
    )  # fmt: skip
    assert ours == pytest.approx(theirs, rel=2e-6)


def test_what_is_outside_the_standard_is_refused():
    with pytest.raises(BadInput, match="ratio"):
        Element("orifice", 80.0, 75.0)
    element = Element("orifice", 80.0, 40.0)
    for drop in (-0.1, 30.0):
        with pytest.raises(BadInput, match="outside the standard"):
            element.mass_flow_kg_s(100.0, drop, 1.2, 1.8e-5)
    assert element.mass_flow_kg_s(100.0, 0.0, 1.2, 1.8e-5) == 0.0
    for wrong in ({"pressure_kpa": 1.0}, {"temperature_c": 400.0}, {"humidity": 1.2}):
        with pytest.raises(BadInput):
            Air(**({"pressure_kpa": 100.0, "temperature_c": 20.0} | wrong))


def test_density_of_humid_air():
    """Against the ideal gas, steam tables and the textbook figure of 1.199 kg/m³ half humid (from memory)."""
    dry = Air(101.325, 20.0)
    ideal = 101_325.0 * 28.96546e-3 / (8.314462618 * 293.15)
    assert dry.density_kg_m3 == pytest.approx(ideal, rel=6e-4) and dry.compressibility < 1
    saturation_kpa = 2.339  # steam tables, 20 °C, from memory
    half = Air(101.325, 20.0, 0.5)
    assert half.water_share == pytest.approx(0.5 * saturation_kpa / 101.325, rel=0.006)
    assert half.density_kg_m3 == pytest.approx(1.1988, abs=6e-4)
    # viscosity of the standard atmosphere at sea level (ICAO): 1.7894e-5 Pa s
    assert Air(101.325, 15.0).viscosity_pa_s == pytest.approx(1.7894e-5, rel=2e-3)


@given(st.floats(80, 300), st.floats(-20, 60), st.floats(0, 1))
def test_damp_air_is_lighter(pressure, temperature, humidity):
    assert (
        Air(pressure, temperature, humidity).density_kg_m3
        <= Air(pressure, temperature).density_kg_m3
    )


def test_corrected_flow_and_speed_are_the_published_ones(case):
    for name in ("fl_corrected", "corrected-flow"):
        given, wanted = case(name)["inputs"], case(name)["expected"]
        reference = Reference(
            given["Tref_K"] - 273.15, given.get("Pref_kPa", given.get("pref_kpa"))
        )
        flow = given.get("m_kg_s", given.get("mass_flow_kg_s"))
        pressure = given.get("P_kPa", given.get("p_kpa"))
        found = corrected_flow(flow, given["T_K"] - 273.15, pressure, reference)
        assert found == pytest.approx(
            wanted.get("m_corr_kg_s", wanted.get("corrected_kg_s")), rel=4e-6
        )
    given = case("fl_corrected")["inputs"]
    speed = corrected_speed(given["rpm"], given["T_K"] - 273.15, Reference(25.0))
    assert speed == pytest.approx(case("fl_corrected")["expected"]["N_corr_rpm"], rel=1e-5)


def test_compressor_efficiency_is_the_published_one(case):
    given, wanted = case("fl_cengel_turbo")["inputs"], case("fl_cengel_turbo")["expected"]
    found = compressor_efficiency(
        given["P1"], given["P2"], given["T1_C"], wanted["T2_C"], given["k"]
    )
    assert found == pytest.approx(wanted["eta_c"], rel=0.005)
    with pytest.raises(BadInput, match="no efficiency"):
        compressor_efficiency(100.0, 90.0, 20.0, 30.0)


@given(st.floats(1.1, 4.0), st.floats(0.3, 0.95))
def test_a_compressor_s_efficiency_comes_back_from_its_temperature(ratio, efficiency):
    rise = 293.15 * (ratio ** (0.4 / 1.4) - 1) / efficiency
    assert compressor_efficiency(100, 100 * ratio, 20, 20 + rise) == pytest.approx(
        efficiency, rel=1e-9
    )
    drop = efficiency * 873.15 * (1 - (1 / ratio) ** (0.33 / 1.33))
    assert turbine_efficiency(100 * ratio, 100, 600, 600 - drop, 1.33) == pytest.approx(
        efficiency, rel=1e-9
    )


def test_uncertainty_by_differences_is_that_of_iso_5167_1():
    """ISO 5167-1:2003, 8.2.2.1, the working formula (from memory)."""
    values = {"C": 1.0, "D": 80.0, "d": 40.0, "dp": 5.0, "rho": 1.19}
    u = {"C": 0.0025, "D": 0.16, "d": 0.02, "dp": 0.02, "rho": 0.002}
    beta4 = 0.5**4

    def flow(v):
        element = Element("isa 1932 nozzle", v["D"], v["d"])
        # with the coefficient and expansibility held, as the formula holds them
        return v["C"] * v["d"] ** 2 * math.sqrt(v["dp"] * v["rho"]) / math.sqrt(1 - element.beta**4)

    found = spread_of(flow, values, u) / flow(values)
    wanted = math.sqrt(
        0.0025**2 + (2 * beta4 / (1 - beta4)) ** 2 * 0.002**2 + (2 / (1 - beta4)) ** 2 * 0.0005**2
        + 0.25 * 0.004**2 + 0.25 * (0.002 / 1.19) ** 2
    )  # fmt: skip
    assert found == pytest.approx(wanted, rel=1e-3)


def test_laminar_and_sonic_elements():
    certified = Air(101.325, 20.0)
    laminar = Laminar(0.01, certified)
    assert laminar.mass_flow_kg_s(certified, 2.0) == pytest.approx(0.02 * certified.density_kg_m3)
    warm = Air(101.325, 40.0)
    assert laminar.mass_flow_kg_s(warm, 2.0) < laminar.mass_flow_kg_s(certified, 2.0)
    # critical mass flux of dry air, ideal gas: 0.0404 p/sqrt(T) kg/(s m2 Pa) (handbook figure)
    nozzle = SonicNozzle(10.0, 1.0)
    flux = nozzle.mass_flow_kg_s(Air(200.0, 20.0), 100.0) / (math.pi / 4 * 0.01**2)
    assert flux == pytest.approx(0.0404 * 200e3 / math.sqrt(293.15), rel=2e-3)


def test_a_nozzle_without_a_diffuser_is_critical_below_its_own_ratio():
    """(2/(k+1))^(k/(k-1)) = 0.5283 for k = 1.4 (any gas table)."""
    nozzle, air = SonicNozzle(10.0), Air(200.0, 20.0)
    assert pytest.approx(0.5283, abs=5e-5) == CRITICAL
    assert nozzle.mass_flow_kg_s(air, 105.6) == nozzle.mass_flow_kg_s(air, 20.0)
    for behind in (106.0, 150.0, 190.0):  # 150 kPa is 0.75, which only a diffuser allows
        with pytest.raises(BadInput, match=r"more than 0\.53") as fault:
            nozzle.mass_flow_kg_s(air, behind)
        assert "105.7 kPa or less" in fault.value.remedy and "diffuser" in fault.value.remedy
    # a reading changed by its uncertainty is still computed
    assert nozzle.mass_flow_kg_s(air, 150.0, checked=False) > 0


def test_a_diffuser_allows_more_by_its_area():
    """Subsonic isentropic flow, k = 1.4: A/A* = 1.33984 at 0.84302 of p0, 2.03507 at 0.93947 (NACA report 1135)."""
    assert ideal_ratio(1.33984) == pytest.approx(0.84302, abs=1e-5)
    assert ideal_ratio(2.03507) == pytest.approx(0.93947, abs=1e-5)
    assert ideal_ratio(1.0) == pytest.approx(CRITICAL, abs=1e-6)
    wide = SonicNozzle(20.0, 0.99, 20.0 * math.sqrt(2.03507))
    highest = CRITICAL + 0.8 * (0.93947 - CRITICAL)  # ISO 9300, from memory
    assert wide.highest_ratio(1e6) == pytest.approx(highest, abs=1e-5)
    air = Air(300.0, 20.0)
    assert wide.mass_flow_kg_s(air, 0.99 * highest * 300) > 0
    with pytest.raises(BadInput, match=r"more than 0\.86"):
        wide.mass_flow_kg_s(air, 1.01 * highest * 300)
    ratios = [SonicNozzle(20.0, 0.99, d).highest_ratio(1e6) for d in (21.0, 25.0, 30.0, 40.0, 60.0)]
    assert (
        ratios == sorted(ratios) and ratios[-1] == ratios[-2] < 0.9
    )  # no more beyond an area ratio of 4
    # below a Reynolds number of the throat of 200,000 it may lose its critical flow early
    assert wide.highest_ratio(1.9e5) == CRITICAL
    small = SonicNozzle(2.0, 0.99, 4.0)
    with pytest.raises(BadInput, match=r"more than 0\.53"):
        small.mass_flow_kg_s(Air(100.0, 20.0), 70.0)
    with pytest.raises(BadInput, match="diffuser ends"):
        SonicNozzle(10.0, 0.99, 9.0)


# what the `fluids` library says of an orifice plate's limits of use (its docstring of the coefficient)
ORIFICE_LIMITS = {
    ("corner", 0.5): 5_000, ("D", 0.56): 5_000, ("corner", 0.7): 16_000 * 0.49, ("D", 0.75): 16_000 * 0.5625,
    ("flange", 0.5): 170_000 * 0.25 * 0.2, ("flange", 0.2): 5_000,
}  # fmt: skip


@pytest.mark.parametrize(("taps", "beta"), list(ORIFICE_LIMITS))
def test_the_least_flow_of_an_orifice(taps, beta):
    element = Element("orifice", 200.0, 200.0 * beta, taps)
    check_element(element)
    least = ORIFICE_LIMITS[taps, beta]
    assert reynolds_limits(element) == (pytest.approx(least), math.inf)
    check_flow(element, 1.001 * least)
    with pytest.raises(BadInput, match="too small for this element"):
        check_flow(element, 0.999 * least)


@pytest.mark.parametrize("kind", list(LIMITS))
def test_each_kind_has_its_limits_of_use(kind):
    """ISO 5167:2003, parts 2 to 4 (all but the orifice's from memory): inside stands, just outside is refused."""
    limits = LIMITS[kind]
    pipe, beta = 1.05 * limits.pipe_mm[0], 0.5 * sum(limits.beta)
    pipe = max(pipe, 1.1 * limits.bore_mm / beta)
    check_element(Element(kind, pipe, beta * pipe))
    for low, high in ((0.98, 1.02),):
        for outside, words in (
            (Element(kind, low * limits.pipe_mm[0], beta * low * limits.pipe_mm[0]), "a pipe of"),
            (Element(kind, high * limits.pipe_mm[1], beta * high * limits.pipe_mm[1]), "a pipe of"),
            (Element(kind, 3 * pipe, high * limits.beta[1] * 3 * pipe), "a ratio"),
        ):
            with pytest.raises(BadInput, match=words) as fault:
                check_element(outside)
            assert "certificate of its own" in fault.value.remedy
    if limits.bore_mm:
        narrow = Element(kind, limits.bore_mm / limits.beta[0] * 0.98, limits.bore_mm * 0.98)
        with pytest.raises(BadInput, match="a bore of"):
            check_element(narrow)
    inside = Element(kind, pipe, beta * pipe)
    least, most = reynolds_limits(inside)
    check_flow(inside, 1.01 * least)
    if most < math.inf:
        with pytest.raises(BadInput, match="too large for this element"):
            check_flow(inside, 1.01 * most)


def test_a_slender_nozzle_needs_more_flow():
    """ISO 5167-3:2003, ISA 1932: 70,000 below a ratio of 0.44, else 20,000 (from memory)."""
    assert reynolds_limits(Element("isa 1932 nozzle", 100.0, 43.0))[0] == 70_000
    assert reynolds_limits(Element("isa 1932 nozzle", 100.0, 45.0))[0] == 20_000


def test_what_the_standard_adds_inside_its_limits():
    """ISO 5167-2:2003, 5.3.3.1: in a small pipe, and at a low Reynolds number with a wide bore (from memory)."""
    plain = Element("orifice", 100.0, 55.0).coefficient_u(1e5)
    assert plain == pytest.approx(0.005)
    assert Element("orifice", 100.0, 55.0).coefficient_u(9e3) == pytest.approx(0.010)
    small = Element("orifice", 50.8, 25.4).coefficient_u(1e5)
    assert small == pytest.approx(0.005 + 0.009 * 0.25 * 0.8)


def test_a_leak_from_falling_pressure():
    # 10 l of air at 20 °C that lose 1 kPa in 60 s: dm = dp V / (R T) = 0.1188 g
    assert 60 * leak_kg_s(10, 201, 200, 60, 20) == pytest.approx(0.1188e-3, rel=1e-3)
    with pytest.raises(BadInput, match="rose"):
        leak_kg_s(10, 200, 201, 60, 20)


@given(seed=st.integers(0, 50), rising=st.booleans())
def test_the_stop_is_set_where_the_flow_is_wanted(seed, rising):
    rng = np.random.default_rng(seed)
    sign = 1.0 if rising else -1.0
    x = np.repeat(np.linspace(0, 10, 6), 4)
    ways: list[Way] = ["opening", "opening", "closing", "closing"] * 6
    truth = 0.05 + sign * 0.002 * x + 2e-5 * x * x * sign
    y = truth + rng.normal(0, 1e-4, x.size) + np.where(np.array(ways) == "opening", 1e-4, -1e-4)
    curve = fit_nozzle(x.tolist(), y.tolist(), ways)
    assert curve.hysteresis_kg_s == pytest.approx(2e-4, abs=1.2e-4)
    assert curve.repeat_kg_s == pytest.approx(1e-4, rel=0.6)
    wanted = 0.05 + sign * 0.002 * 4.2 + 2e-5 * 4.2**2 * sign
    advice = set_stop(curve, wanted, at=2.0, per_turn=1.5)
    assert advice.position == pytest.approx(4.2, abs=5 * advice.turns_u * 1.5 + 0.05)
    assert advice.turns == pytest.approx((4.2 - 2.0) / 1.5, abs=0.12) and advice.way == "in"
    assert set_stop(curve, wanted, at=6.0, per_turn=1.5).way == "out"
    assert set_stop(curve, wanted, at=6.0, per_turn=1.5, in_is_up=False).way == "in"


@pytest.mark.parametrize("bend", [0.0, 3e-4, 1.2e-3])
@pytest.mark.parametrize(("positions", "times"), [(6, 1), (5, 2), (6, 4)])
def test_a_fitted_flow_is_as_sure_as_said(positions, times, bend):
    """95 in 100 of 800 fits hold the truth (Student's t), straight or bent, and the stop's turns with them."""
    rng = np.random.default_rng(positions * times)
    x, at = np.repeat(np.linspace(0, 10, positions), times), 4.2

    def truth(p):
        return 0.05 + 0.004 * p - bend * (p - 5) ** 2 / 25

    held, turned = 0, 0
    for _ in range(800):
        curve = fit_nozzle(x.tolist(), (truth(x) + 3e-4 * rng.standard_normal(x.size)).tolist())
        off = abs(curve.flow_kg_s(at) - truth(at))
        held += off <= curve.factor(at) * curve.flow_u(at)
        advice = set_stop(curve, truth(at), at=0.0, per_turn=1.0)
        turned += abs(advice.turns - at) <= advice.factor * advice.turns_u
    assert 0.93 <= held / 800 <= 0.975 and 0.93 <= turned / 800 <= 0.975


def test_three_readings_tell_little_of_their_scatter():
    """One degree of freedom: 13.97 for 95.45 in 100 (JCGM 100, table G.2); what all share is known beside it."""
    few = fit_nozzle([0, 5, 10], [0.05, 0.0705, 0.09])
    assert few.degrees == 1 and few.factor(5) == pytest.approx(13.97, abs=0.01)
    shared = fit_nozzle([0, 5, 10], [0.05, 0.0705, 0.09], u_kg_s=0.01)
    assert shared.factor(5) == pytest.approx(2.0, abs=0.01)
    assert shared.flow_u(5) == pytest.approx(math.hypot(few.flow_u(5), 0.01))
    assert fit_nozzle([0, 5, 10], [0.05, 0.07, 0.09]).factor(5) >= 2.0


def test_nozzles_that_tell_nothing():
    with pytest.raises(BadInput, match="tell no curve"):
        fit_nozzle([1, 1], [0.1, 0.1])
    with pytest.raises(BadInput, match="does not change"):
        fit_nozzle([0, 1, 2, 3], [0.1, 0.1001, 0.1, 0.1001])
    curve = fit_nozzle([0, 1, 2, 3], [0.10, 0.11, 0.12, 0.13])
    with pytest.raises(BadInput, match="far from"):
        set_stop(curve, 0.5, at=0, per_turn=1)
