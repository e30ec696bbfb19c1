"""The adviser against the rigs: a few units always, hundreds as a long proof."""

import pytest
from loop import faults
from loop.loop import balance
from loop.modal_rig import KINDS
from loop.run import maker, row, run

from heavyspot.sim.cartridge import SIZES
from heavyspot.workshop.insight.gains import reliability
from heavyspot.workshop.model.other_units import Lesson


@pytest.mark.parametrize("name", ["Larch 52", "Hazel 55"])
def test_a_few_units_from_an_empty_ledger(name):
    model, make = maker(name)
    library: list[Lesson] = []
    told = [balance(model, make(s), s, library) for s in range(12)]
    over = [t.runs for t in told if t.over_at_first]
    assert sorted(over)[len(over) // 2] <= 3 and max(over) <= 6
    assert not any(t.false_pass for t in told)
    assert {x.plane for x in library} == {"nut", "turbine hub"}


def test_a_few_of_each_fault():
    found = faults.run(3, ["whirl", "loose_sensor", "swapped", "drift", "unsteady", "rig_hum"])
    for fault, (named, forbidden) in found.items():
        if fault:
            assert named == 1.0, fault
            assert forbidden == 1.0 or fault not in faults.MUST_BLOCK, fault
        else:
            assert forbidden == 0.0


@pytest.mark.slow
def test_another_machine_is_not_taken_for_a_unit_of_the_model():
    own, other = faults.unlike("Hazel 55", "Rowan 70", units=12)
    assert own == 0.0 and other == 1.0


@pytest.mark.prove
@pytest.mark.parametrize(
    ("own", "other"), [("Larch 52", "Hazel 55"), ("Hazel 55", "Rowan 70"), ("Rowan 95", "Larch 52")]
)
def test_another_machine_is_named(own, other):
    """Models of one design in two sizes are too alike for this (Larch 52 and Oak 90): not claimed."""
    mine, others = faults.unlike(own, other, units=200)
    print(f"{own} as itself {mine:.3f}, {other} taken for it {others:.3f}")
    assert mine <= 0.01 and others >= 0.95


@pytest.mark.prove
def test_faults_are_named_and_clean_runs_are_not_accused():
    """The shop's fault list: 50 seeds each."""
    found = faults.run(50, faults.ALL)
    for fault, (named, forbidden) in found.items():
        print(f"{fault or 'clean':20} named {named:.2f}  cut forbidden {forbidden:.2f}")
    for fault, (named, forbidden) in found.items():
        if fault:
            assert named >= 0.95, fault
            assert forbidden == 1.0 or fault not in faults.MUST_BLOCK, fault
    assert found[""][1] <= 0.01


@pytest.mark.prove
def test_closed_loop_on_vectors():
    """200 units of each model on two rigs that share nothing.

    On the simulated rig the project's own bars. The rig of another make is harsher (units of one
    model differ by up to 28 %): there the bar is one run more than who knows both planes' responses.
    """
    for name, out in run(200, [*SIZES, *KINDS]):
        if name in ("computed", "said"):
            for k in reliability(out):
                print(
                    f"{name} {k.low:.1f}: n {k.number:4}  mean {k.said:.2f}  happened {k.happened:.2f}"
                )
                if name == "said" and k.number >= 50:
                    assert abs(k.said - k.happened) <= 0.05
            continue
        print(name, *(row(w, f) for w, f in out.items()), sep="\n")
        empty, known = list(out.values())[:2]
        assert empty["median"] <= 3 and empty["p90"] <= 4
        best = out["oracle, both planes"]
        if name in SIZES:
            assert known["median"] <= 2 and known["p90"] <= 3
        else:
            assert known["median"] <= best["median"] + 1 and known["p90"] <= best["p90"] + 1
        assert known["within six"] >= min(0.99, best["within six"] - 0.01)
        assert known["worse cuts"] < 0.01
        assert empty["false"] == known["false"] == 0
