"""Limits, verdicts and their uncertainty."""

import tomllib

import numpy as np
import pytest
from conftest import SMALL_MODEL
from hypothesis import given
from hypothesis import strategies as st
from scipy.stats import norm

from heavyspot.balance.limits import PASS_K, Limit, amplitude_uncertainty, judge
from heavyspot.balance.uncertainty import combined, polar_uncertainty, propagate, type_a
from heavyspot.quantities.errors import BadInput
from heavyspot.quantities.said import in_words
from heavyspot.workshop.model.model_file import parse_model

SPEED = np.arange(20_000.0, 150_001, 500)
HOUSE = Limit("house", (0.0,), (0.5,))


def verdict(peak, u=0.01, speed=SPEED, limit=HOUSE, **rule):
    amplitude = peak * (speed / speed.max()) ** 2
    return judge(
        speed,
        amplitude,
        np.full(speed.size, u),
        limit,
        from_rpm=22_500,
        to_rpm=150_000,
        step_rpm=500,
        **rule,
    )


def test_gum_h2(case):
    # Source: JCGM 100:2008, Annex H.2: resistance, reactance and impedance from correlated readings
    c = case("gum_h2")
    i, e = c["inputs"], c["expected"]
    mean, cov = type_a([i["V"], np.array(i["I_mA"]) * 1e-3, i["phi"]])
    assert mean[0] == pytest.approx(e["V_mean"], rel=1e-5)
    assert np.sqrt(cov[0, 0]) == pytest.approx(e["u_V"], rel=0.02)

    def rxz(q):
        z = q[0] / q[1]
        return np.array([z * np.cos(q[2]), z * np.sin(q[2]), z])

    value, out = propagate(rxz, mean, cov)
    assert value == pytest.approx([e["R"], e["X"], e["Z"]], rel=1e-4)
    u = np.sqrt(np.diag(out))
    assert u == pytest.approx([e["u_R"], e["u_X"], e["u_Z"]], rel=0.005)
    r = out / np.outer(u, u)
    assert r[0, 1] == pytest.approx(e["r_RX"], abs=0.002)
    assert r[1, 2] == pytest.approx(e["r_XZ"], abs=0.002)


def test_phasor_uncertainty(case):
    # Source: first-order identity (case unc_polar)
    c = case("unc_polar")
    z = c["inputs"]["z"][0] * np.exp(1j * np.deg2rad(c["inputs"]["z"][1]))
    size, angle = polar_uncertainty(complex(z), c["inputs"]["sigma"])
    assert size == pytest.approx(c["expected"]["u_mag"], rel=0.01)
    assert angle == pytest.approx(c["expected"]["u_phase_deg"], abs=0.006)


def test_root_sum_of_squares(case):
    c = case("err_combined")  # ISO 21940-14, from memory; identity
    assert combined(*c["inputs"]["errors"]) == pytest.approx(c["expected"]["rss"])


def test_decision_rule_is_the_standards(case):
    # Source: ISO 21940-14 / 21940-11 clause 10, from memory (case iso-errors)
    c = case("iso-errors")
    i = c["inputs"]
    words = {"pass": "accept", "fail": "reject", "undecided": "undecided"}
    got = []
    for measured in i["measured"]:
        j = judge(
            SPEED,
            np.full(SPEED.size, measured),
            np.full(SPEED.size, i["dU"] / 2),  # k = 2
            Limit("x", (0.0,), (i["U_per"],)),
            from_rpm=22_500,
            to_rpm=150_000,
            step_rpm=500,
        )
        got.append(words[j.verdict])
    assert got == c["expected"]["decision"]


def test_guard_band_bounds_false_acceptance(case):
    # Source: ILAC-G8:09/2019: guard band U leaves 2.5 % false acceptance at the limit
    e = case("guard_ilac")["expected"]
    rng = np.random.default_rng(0)
    true, u = 0.5, 0.013
    passed = np.mean([verdict(true + u * e_, u).verdict == "pass" for e_ in rng.normal(size=4000)])
    assert passed == pytest.approx(e["pfa_r1"], abs=0.0028 + 2 * np.sqrt(0.025 / 4000))


def test_a_piece_at_its_limit_passes_the_high_speed_rig_once_in_700_spins():
    """The share of a normal distribution beyond three standard deviations; asked on both sides of it."""
    u = 0.02
    once_in_700 = norm.isf(1 / 700) * u
    assert verdict(0.5 - once_in_700 - 0.1 * u, u, pass_k=PASS_K).verdict == "pass"
    assert verdict(0.5 - once_in_700 + 0.1 * u, u, pass_k=PASS_K).verdict == "undecided"
    assert verdict(0.5 - once_in_700 + 0.1 * u, u).verdict == "pass"  # k = 2 elsewhere


def test_a_model_without_a_limit_has_that_of_the_trade(case):
    # common practice, no source (case trade-4)
    model = parse_model(tomllib.loads(SMALL_MODEL), name="larch.toml")
    allowed = case("trade-4")["expected"]["limit_g"]
    assert model.house_limit().at([0.0, 75_000.0, 175_000.0]) == pytest.approx([allowed] * 3)
    assert verdict(allowed + 0.05, 0.01, limit=model.house_limit()).verdict == "fail"
    assert verdict(allowed - 0.05, 0.01, limit=model.house_limit()).verdict == "pass"


def test_three_verdicts_and_margin():
    assert verdict(0.30).verdict == "pass"
    assert verdict(0.30).margin == pytest.approx(0.4)
    assert verdict(0.70).verdict == "fail"
    assert verdict(0.70).worst.speed_rpm == 150_000
    assert verdict(0.49).verdict == "undecided"
    assert verdict(0.51).verdict == "undecided"


def test_not_reaching_test_speed_is_not_a_pass():
    j = verdict(0.1, speed=SPEED[SPEED < 140_000])
    assert j.verdict == "undecided"
    assert "was not reached" in in_words(j.reason)
    assert verdict(5.0, speed=SPEED[SPEED < 140_000]).verdict == "fail"


def test_a_hole_in_the_speed_range_is_not_a_pass():
    speed = SPEED[(SPEED < 60_000) | (SPEED > 80_000)]
    j = verdict(0.1, speed=speed)
    assert j.verdict == "undecided"
    assert j.covered == pytest.approx(1 - 20 / 127.5, abs=0.01)


def test_limit_over_speed():
    step = Limit("step", (40_000, 60_000, 100_000), (0.2, 0.4, 0.6))
    assert step.at([0, 50_000, 200_000]).tolist() == pytest.approx([0.2, 0.3, 0.6])
    for bad in (((1, 1), (1, 1)), ((1,), (1, 2)), ((1,), (0,)), ((), ())):
        with pytest.raises(BadInput):
            Limit("bad", *bad)


@given(st.floats(0.01, 3), st.floats(0.001, 0.2))
def test_never_a_pass_above_the_limit(peak, u):
    if verdict(peak, u).verdict == "pass":
        assert peak + 2 * u <= 0.5 + 1e-12


def test_uncertainty_adds_in_squares():
    u = amplitude_uncertainty(
        np.array([1.0]), np.array([0.03]), repeat_share=0.04, calibration_share=0.12
    )
    assert u[0] == pytest.approx(0.13)
    # 5, 12, 13 and 8, 15, 17: the shares are of each amplitude, the noise is not
    shares = {"repeat_share": 0.024, "calibration_share": 0.0}
    u = amplitude_uncertainty(np.array([0.5, 5.0]), np.array([0.005, 0.05]), **shares)
    assert u == pytest.approx([0.013, 0.13])
    shares = {"repeat_share": 0.0, "calibration_share": 0.04}
    u = amplitude_uncertainty(np.array([0.2, 2.0]), np.array([0.015, 0.15]), **shares)
    assert u == pytest.approx([0.017, 0.17])


def test_the_worst_speed_of_a_real_run_up():
    # Source: M. Nouioua 2026, CC BY 4.0: laboratory rotor through a split critical; peak 20.56 µm at
    # 1665 rpm (computed elsewhere). The unit does not matter to the judgement.
    import csv

    from conftest import FILES

    with (FILES / "rotor_kit/runup_1x.csv").open() as file:
        rows = [(float(r["rpm"]), float(r["amp_1x_um"])) for r in csv.DictReader(file)]
    speed, size = np.array(rows).T
    j = judge(
        speed, size, np.full(size.size, 0.1), Limit("x", (0.0,), (10.0,)),
        from_rpm=1050, to_rpm=2050, step_rpm=13,
    )  # fmt: skip
    assert j.verdict == "fail"
    assert j.worst.amplitude_g == pytest.approx(20.56, abs=0.005)
    assert j.worst.speed_rpm == pytest.approx(1665, abs=1)
