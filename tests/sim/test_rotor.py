"""The simulated rotor against published frequencies, closed forms and an independent library."""

import json
from pathlib import Path

import numpy as np
import pytest

from heavyspot.sim.cartridge import PLANE_NODES, SIZES, make_cartridge
from heavyspot.sim.rotor import Bearing, Disc, Element, Housing, Rotor
from heavyspot.sim.spin import SpinSettings, spin

HERE = Path(__file__).parents[1]


def test_friswell_two_disc_rotor(case):
    # Source: M. I. Friswell et al., Dynamics of Rotating Machines (2010), Example 5.9.1
    c = case("rd_friswell_5_9_1")
    i, e = c["inputs"], c["expected"]
    spans = zip(i["x"], i["x"][1:], i["od"], i["id"], strict=False)
    rotor = Rotor(
        tuple(
            Element(b - a, o, n, i["E"], i["rho"], i["E"] / 2 / i["G"] - 1) for a, b, o, n in spans
        ),
        tuple(Disc(n, m, a, p) for n, m, a, p in i["discs"]),
        tuple(Bearing(n, k, 0.0) for n, k in i["bearings"]),
    )
    for speed in ("0", "4000"):
        expected = e[f"whirl_rad_s_{speed}"]
        got = np.sort(np.abs(rotor.natural_hz(float(speed)) * 2 * np.pi))[: len(expected)]
        assert got == pytest.approx(expected, rel=1e-3)


def test_nelson_and_mcvaugh_critical_speeds(case):
    # Source: H. D. Nelson and J. M. McVaugh, ASME J. Eng. Ind. 98 (1976) 593 (disc and bearing data
    # from memory; recomputed within 1.4 %, one geometry entry may be simplified)
    c = case("rd_nelson_mcvaugh")
    i, e = c["inputs"], c["expected"]
    spans = zip(i["x"], i["x"][1:], i["od"], i["id"], strict=False)
    rotor = Rotor(
        tuple(Element(b - a, o, n, i["E"], i["rho"], shear=i["shear"]) for a, b, o, n in spans),
        tuple(Disc(n, m, d, p) for n, m, d, p in i["discs"]),
        tuple(Bearing(n, k, 0.0) for n, k in i["bearings"]),
    )
    for number, expected in enumerate(e["critical_forward_rpm"]):
        low, high = 0.5 * expected, 1.5 * expected
        for _ in range(50):  # the speed at which a forward frequency equals the speed
            middle = 0.5 * (low + high)
            f = rotor.natural_hz(middle)
            forward = np.sort(f[f > 0.01])[number] * 60
            low, high = (middle, high) if forward > middle else (low, middle)
        assert middle == pytest.approx(expected, rel=0.016)


def test_jeffcott_closed_form(case):
    # Source: textbook formula H = r² / (1 - r² + 2 j zeta r), amplitude and lag
    c = case("rd_jeffcott")
    i, e = c["inputs"], c["expected"]
    stiff = Element(0.5, 0.2, young_pa=1e16, density_kg_m3=1e-6)  # a massless, rigid shaft
    rotor = Rotor(
        (stiff, stiff),
        (Disc(1, i["m"], 1e-9, 0.0),),
        tuple(Bearing(n, i["k"] / 2, i["zeta"] * np.sqrt(i["k"] * i["m"])) for n in (0, 2)),
    )
    wn = np.sqrt(i["k"] / i["m"]) * 30 / np.pi
    for name, r in i["r"].items():
        motion = rotor.motion(np.array([r * wn]), 1)[0, 2] * i["m"] * i["e"]
        assert abs(motion) == pytest.approx(e[f"amp_{name}"], rel=2e-4)
        assert -np.rad2deg(np.angle(motion)) == pytest.approx(e[f"lag_deg_{name}"], abs=0.02)


def test_against_ross_rotordynamics():
    """Unbalance response with flexible supports; numbers made by validation/ross_rotor.py."""
    d = json.loads((HERE / "reference/ross_rotor.json").read_text())
    z = np.concatenate([[0], np.cumsum([n for n, _ in d["shaft_mm"]])]) * 1e-3
    places = z[4], z[6]
    (_, m1, k, c), (_, m2, _, _) = d["supports"]
    centre = (m1 * places[0] + m2 * places[1]) / (m1 + m2)
    # two masses on their own springs are one rigid body in two coordinates
    tilt = m1 * (places[0] - centre) ** 2 + m2 * (places[1] - centre) ** 2
    rotor = Rotor(
        tuple(Element(n * 1e-3, o * 1e-3) for n, o in d["shaft_mm"]),
        tuple(Disc(*x) for x in d["discs"]),
        tuple(Bearing(n, k_, c_) for n, k_, c_ in d["bearings"]),
        Housing(m1 + m2, tilt, centre, places, k, c),
    )
    for node, rows in d["responses"].items():
        motion = rotor.motion(np.array(d["speeds_rpm"], float), int(node)) * 1e-6
        ours = {f"shaft_{i}": motion[:, 2 * i] for i in (0, 2, 8)}
        for name, place in zip(("support_9", "support_10"), places, strict=True):
            ours[name] = motion[:, 18] + (place - centre) * motion[:, 19]
        for name, values in rows.items():
            theirs = np.array(values) @ [1, 1j]
            assert np.abs(ours[name] / theirs - 1).max() < 2e-4, (node, name)


@pytest.mark.parametrize("size", SIZES)
def test_units_differ_but_belong_together(size):
    speed = np.linspace(0.2, 1.0, 40) * SIZES[size].test_speed_rpm
    units = [make_cartridge(size, seed).plane_response("nut", speed) for seed in range(8)]
    mean = np.mean(units, axis=0)
    spread = np.sqrt(np.mean(np.abs(np.array(units) - mean) ** 2)) / np.sqrt(
        np.mean(np.abs(mean) ** 2)
    )
    assert 0.02 < spread < 0.3


def test_cuts_add_up_and_lines_are_linear():
    unit = make_cartridge("Larch 52", 1, peak_g=1.5)
    speed = np.linspace(30_000, 150_000, 30)
    before = unit.vector(speed)
    for plane in PLANE_NODES:
        after = unit.ground(plane, 40.0, 0.1).vector(speed)
        expected = before - unit.plane_response(plane, speed) * 0.1 * np.exp(1j * np.deg2rad(40))
        assert np.abs(after - expected).max() < 1e-12


def test_same_seed_same_spin():
    unit = make_cartridge("Larch 52", 3)
    short = SpinSettings(run_up_s=1.0, hold_s=0.1, coast_s=0.5)
    assert np.array_equal(spin(unit, 5, short).samples, spin(unit, 5, short).samples)
    assert not np.array_equal(spin(unit, 5, short).samples, spin(unit, 6, short).samples)
    with pytest.raises(ValueError, match="unknown faults"):
        SpinSettings(faults=("gremlins",))
