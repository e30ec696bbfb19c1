"""Faults judged by the truth that was put in: a few always, the whole matrix as a long proof.

The rig `turbo` is written from the equations of motion and shares no code with the program; the others are the
program's simulator and the rig of modes.
"""

import os
from pathlib import Path

import numpy as np
import pytest
from faults import matrix, turbo
from faults.kinds import KINDS
from faults.matrix import Case, cases, printed, run, table
from faults.other_rigs import RIGS

SAMPLE = {
    "turbo": ("clean", "sensor noise only", "silent at resonance", "clips softly", "mark lost at speed",
              "turns missing in bursts", "fixed tone", "too insensitive"),
    "elements": ("clean", "mains only", "clips on one side", "hum only on the pickup", "swapped, pulse"),
    "modes": ("clean", "dies midway", "polarity flips midway", "doublets called magnetic", "loud blades"),
}  # fmt: skip


FOUND = (
    ("clips softly", "turbo", 9, 0.3), ("clips softly", "modes", 12, 0.3), ("too sensitive", "turbo", 8, 0.8),
    ("turns missing in bursts", "modes", 20, 0.3), ("fixed tone", "turbo", 31, 0.3),
    ("wrong sample rate", "elements", 28, 0.8), ("wrong sample rate", "turbo", 27, 0.8),
    ("clips softly", "turbo", 36, 0.3), ("scratches", "turbo", 37, 0.8),
    ("clean", "elements", 23, 0.8), ("clips softly", "modes", 16, 0.3),
)  # fmt: skip
"""What a longer run of the matrix passed, or cut on, before it was mended."""


@pytest.fixture(scope="module")
def shops(tmp_path_factory):
    return matrix.templates_in(tmp_path_factory.mktemp("shops"))


def test_the_rig_from_the_physics_has_the_truth_it_says():
    unit = turbo.make_unit(7, 0.8)
    grid = np.linspace(0.15, 1.0, 600) * turbo.TEST_RPM
    assert np.abs(unit.vector(grid)).max() == pytest.approx(0.8, rel=1e-6)
    take = turbo.spin(unit.vector, 7)
    held = np.abs(take.share - take.share.max()) < 0.002
    once = 2 * np.mean(take.housing_g[held] * np.exp(-1j * take.theta[held]))
    truth = take.vector(take.speed_rpm[held].mean())
    # x = Re(conj(V) exp(j theta)): the angle of V is a lag behind the mark
    assert abs(np.conj(once) - truth) < 0.03 * abs(truth) + 0.005


@pytest.mark.slow
def test_a_sample_of_faults(shops):
    wanted = [
        Case(k, rig, 1, t) for rig, kinds in SAMPLE.items() for k in kinds for t in (0.3, 0.8)
    ]
    wanted += [Case(*found) for found in FOUND]
    found = list(run(wanted, shops))
    print(printed(table(found)))
    for o in found:
        assert "fault" not in o, o
        assert not o["false_pass"], o
        assert not o["wrong_cut"], o
        assert o["named"] and not o["false_word"], o


@pytest.mark.slow
def test_a_blocking_finding_leaves_no_verdict(shops):
    told = next(run([Case("all zero", "turbo", 0, 0.3)], shops))
    assert told["verdict"] == "undecided" and told["action"] == "fix"
    assert told["codes"]["sensor.dead"] == "block"


def test_there_are_enough_kinds_and_each_is_made_on_every_rig():
    assert sum(bool(k.named or k.never) for k in KINDS.values()) >= 45
    for name in ("whirl", "two poles", "wrong sample rate"):
        for rig in RIGS:
            take, told, _ = matrix.faulty(Case(name, rig, 2, 0.3))
            assert told is not take and told.theta.size == take.theta.size


@pytest.mark.prove
def test_the_whole_matrix(shops, tmp_path):
    """``HEAVYSPOT_FAULT_SEEDS`` seeds (50): about a second a case and core; results are kept and gone on with."""
    seeds = int(os.environ.get("HEAVYSPOT_FAULT_SEEDS", "50"))
    kept = Path(os.environ.get("HEAVYSPOT_FAULT_RESULTS", tmp_path / "faults.jsonl"))
    found = matrix.gone_on_with(cases(range(seeds)), shops, kept, workers=2)
    rows = table(found)
    print(printed(rows))
    for r in rows:
        assert r["broken"] == 0, r
        assert r["false passes"] == 0, r
        assert r["wrong cuts"] == 0, r
        assert r["named"] >= 0.95, r
        assert r["false words"] <= (0.05 if r["kind"] == "clean" else 0.02), r
    clean = next(r for r in rows if r["kind"] == "clean")
    assert clean["blocked"] < 0.01
