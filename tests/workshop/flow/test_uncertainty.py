"""Stated uncertainties of a flow test against simulated readings (Monte Carlo, JCGM 101:2008, clause 7).

The instruments err, each once: one that enters a result twice errs there the same way twice.
"""

import numpy as np
import pytest

from heavyspot.quantities.errors import BadInput
from heavyspot.workshop.flow.bench import compute, parse_bench, parse_read
from heavyspot.workshop.flow.leak import leak_of

U = {
    "coefficient_u": 0.002, "pressure_u_kpa": 1.0, "temperature_u_k": 1.0, "drop_u_kpa": 0.02, "bore_u_mm": 0.01,
}  # fmt: skip
BENCHES = {
    "isa 1932 nozzle": {"pipe_mm": 80.0, "bore_mm": 40.0}, "orifice": {"pipe_mm": 80.0, "bore_mm": 40.0},
    "laminar": {"m3_s_per_kpa": 0.01}, "sonic nozzle": {"bore_mm": 10.0}, "meter": {},
}  # fmt: skip
DROP = {"laminar": 2.0, "sonic nozzle": 40.0}
COMPRESSOR = {"in_kpa": 100.0, "in_c": 20.0, "out_kpa": 180.0, "out_c": 95.0}
TURBINE = {"in_kpa": 200.0, "in_c": 120.0, "out_kpa": 110.0, "out_c": 80.0}
ERRS = {"kpa": U["pressure_u_kpa"], "c": U["temperature_u_k"]}


def truth(element, machine):
    told = {"upstream_kpa": 100.0, "temperature_c": 20.0, **machine}
    if element == "meter":
        return told | {"flow_kg_s": 0.1}
    return told | {"drop_kpa": DROP.get(element, 5.0)}


def scatter_of(element, machine, n=1200):
    """Standard deviations of flow, corrected flow and efficiency when everything errs as it is said to."""
    rng = np.random.default_rng(21)
    found = []
    for _ in range(n):
        read = truth(element, machine)
        for key in read:
            if key == "drop_kpa":
                read[key] += U["drop_u_kpa"] * rng.standard_normal()
            elif key != "flow_kg_s":
                read[key] += ERRS[key.rsplit("_", 1)[1]] * rng.standard_normal()
        bench = {"element": element, **BENCHES[element], **U}
        if "bore_mm" in bench:
            bench["bore_mm"] += U["bore_u_mm"] * rng.standard_normal()
        got = compute(parse_bench(bench), parse_read(read))
        off = 1 + U["coefficient_u"] * rng.standard_normal()
        found.append((off * got.flow, off * got.corrected, got.efficiency or 0.0))
    return np.std(found, axis=0)


@pytest.mark.parametrize("element", list(BENCHES))
def test_corrected_by_the_state_before_the_element(element):
    """The same thermometer and gauge give the density and the correction."""
    bench = parse_bench({"element": element, **BENCHES[element], **U})
    told = compute(bench, parse_read(truth(element, {})))
    flow, corrected, _ = scatter_of(element, {})
    assert told.flow_u / flow == pytest.approx(1, abs=0.05)
    assert told.corrected_u / corrected == pytest.approx(1, abs=0.05)
    assert told.efficiency is None and told.efficiency_u is None


def test_nothing_of_pressure_and_temperature_stays_in_a_corrected_sonic_flow():
    """m sqrt(T)/p of an ideal gas is a constant: what is left is coefficient and bore."""
    bench = parse_bench({"element": "sonic nozzle", "bore_mm": 10.0, **U})
    told = compute(bench, parse_read(truth("sonic nozzle", {})))
    assert told.corrected_u / told.corrected == pytest.approx(np.hypot(0.002, 2 * 0.001), rel=0.01)


@pytest.mark.parametrize("machine", [COMPRESSOR, TURBINE], ids=["compressor", "turbine"])
@pytest.mark.parametrize("element", ["isa 1932 nozzle", "meter"])
def test_corrected_by_sensors_of_the_machine_and_its_efficiency(element, machine):
    bench = parse_bench({"element": element, **BENCHES[element], **U})
    told = compute(bench, parse_read(truth(element, machine)))
    stated = (told.flow_u, told.corrected_u, told.efficiency_u)
    assert np.array(stated) / scatter_of(element, machine) == pytest.approx(np.ones(3), abs=0.06)


def test_an_efficiency_its_own_uncertainty_may_turn_round_is_none():
    bench = parse_bench({"element": "meter", **U})
    read = truth("meter", COMPRESSOR | {"out_c": 20.9})  # 0.9 K warmer, known to 1 K each
    told = compute(bench, parse_read(read))
    assert told.efficiency is None and told.ratio == pytest.approx(1.8)


def test_a_leak_is_known_as_well_as_said():
    """One gauge reads both pressures, the air may warm or cool, the volume is not quite that, nor the time."""
    rng, n = np.random.default_rng(22), 20_000
    volume, gas = 10.0, 8.314472 / 28.96546e-3
    before, after, seconds, kelvin = 201.0, 200.0, 60.0, 293.15
    read = {
        "volume_l": volume,
        "from_kpa": before,
        "to_kpa": after,
        "seconds": seconds,
        "temperature_c": 20.0,
    }
    warmed = 0.1 * rng.standard_normal(n)
    gauge = 1 + U["pressure_u_kpa"] / before * rng.standard_normal(n)
    lost = gauge * (before - after * (1 + warmed / kelvin)) + U["drop_u_kpa"] * rng.standard_normal(
        n
    )
    in_it, took = (
        volume * (1 + 0.01 * rng.standard_normal(n)),
        seconds + 0.5 * rng.standard_normal(n),
    )
    leaks = in_it * lost / (gas * (kelvin + U["temperature_u_k"] * rng.standard_normal(n))) / took
    told = leak_of(parse_bench({"element": "meter", **U}), read)
    assert told.kg_s == pytest.approx(0.1188e-3 / 60, rel=1e-3)
    assert told.u_kg_s / leaks.std() == pytest.approx(1, abs=0.05)
    steady = leak_of(
        parse_bench({"element": "meter", **U}), read | {"drift_u_k": 0.0, "volume_u_l": 0.0}
    )
    assert steady.u_kg_s < 0.5 * told.u_kg_s


def test_a_tight_housing_has_an_uncertainty_too():
    read = {
        "volume_l": 10.0,
        "from_kpa": 200.0,
        "to_kpa": 200.0,
        "seconds": 60.0,
        "temperature_c": 20.0,
    }
    told = leak_of(parse_bench({"element": "meter"}), read)
    assert told.kg_s == 0 and told.u_kg_s > 0


@pytest.mark.parametrize(
    ("wrong", "why"),
    [({"seconds": 0}, "seconds"), ({"volume_l": None}, "volume_l"), ({"to_kpa": 210.0}, "rose"), ({"x": 1}, "x")],
)  # fmt: skip
def test_leak_tests_that_cannot_be(wrong, why):
    read = {
        "volume_l": 10.0,
        "from_kpa": 201.0,
        "to_kpa": 200.0,
        "seconds": 60.0,
        "temperature_c": 20.0,
    }
    with pytest.raises(BadInput, match=why):
        leak_of(parse_bench({"element": "meter"}), read | wrong)


def test_readings_outside_the_standard_are_refused_and_at_its_edge_computed():
    nozzle = parse_bench({"element": "isa 1932 nozzle", "pipe_mm": 80.0, "bore_mm": 40.0})
    with pytest.raises(BadInput, match="too small for this element"):
        compute(nozzle, parse_read({"drop_kpa": 0.05}))
    edge = compute(nozzle, parse_read({"drop_kpa": 25.0, "upstream_kpa": 100.0}))
    assert edge.flow_u > 0  # a drop larger by its uncertainty would be outside
    small = parse_bench(
        {"element": "orifice", "pipe_mm": 30.0, "bore_mm": 15.0}
    )  # kept tests are still read
    with pytest.raises(BadInput, match="a pipe of 50 to"):
        compute(small, parse_read({"drop_kpa": 5.0}))
    sonic = parse_bench({"element": "sonic nozzle", "bore_mm": 20.0})
    with pytest.raises(BadInput, match="not surely critical"):
        compute(sonic, parse_read({"drop_kpa": 200.0, "upstream_kpa": 300.0}))
    cone = parse_bench({"element": "sonic nozzle", "bore_mm": 20.0, "diffuser_mm": 30.0})
    at_edge = compute(sonic, parse_read({"drop_kpa": 158.4, "upstream_kpa": 300.0}))
    assert compute(cone, parse_read({"drop_kpa": 200.0, "upstream_kpa": 300.0})) == at_edge
    with pytest.raises(BadInput, match="diffuser ends"):
        parse_bench({"element": "sonic nozzle", "bore_mm": 20.0, "diffuser_mm": 15.0})
