"""Labelled runs: on a real two-disc rotor (M. Nouioua 2026, DOI 10.5281/zenodo.23152815, CC BY 4.0)."""

import csv
import math

import numpy as np
import pytest
from conftest import FILES
from hypothesis import given, settings
from hypothesis import strategies as st

from heavyspot.balance.rotor.calibration import calibrate
from heavyspot.quantities.errors import BadInput

PROBES = ("p1x", "p1y", "p2x", "p2y")


def rotor_kit(speed, names=PROBES):
    """Return records, amounts (runs, 2) in g·mm and readings (runs, probes) at a speed."""
    with (FILES / "rotor_kit/vectors_1x.csv").open() as file:
        rows = [r for r in csv.DictReader(file) if r["speed_id"] == speed]
    amount = [
        [float(r[f"{u}_gmm"]) * np.exp(1j * np.deg2rad(float(r[f"{u}_deg"]))) for u in ("U1", "U2")]
        for r in rows
    ]
    seen = [[complex(float(r[f"{p}_re"]), float(r[f"{p}_im"])) for p in names] for r in rows]
    return [r["record"] for r in rows], np.array(amount), np.array(seen)


@pytest.mark.parametrize("speed", ["N1", "N2"])
def test_each_real_run_is_predicted_from_the_others(speed):
    """Leave one labelled condition out, predict it from the rest: as well as the data's floor allows."""
    records, added, seen = rotor_kit(speed)
    condition = np.array([r.split("_")[0] for r in records])
    off, ratio = [], []
    for c in sorted(set(condition) - {"BASE"}):
        out = condition == c
        fit = calibrate(added[~out], seen[~out], names=PROBES)
        miss = seen[out] - fit.predict(added[out])
        off.append(np.abs(miss) / (np.sqrt(2) * fit.noise))
        effect = np.abs(added[out] @ fit.response.T)
        if np.abs(added[out][0]).sum() >= 20:
            ratio.append(np.abs(miss[:, 1:]) / effect[:, 1:])
    assert (
        np.sqrt(np.mean(np.concatenate(off) ** 2)) < 1.6
    )  # the stated scatter is the scatter seen
    assert np.median(np.concatenate(ratio)) < 0.06


@pytest.mark.parametrize("speed", ["N1", "N2"])
def test_the_poor_probe_and_the_alike_planes_are_warned_of(speed):
    """The source's notes: p1x is poor, two planes have condition numbers of 15 to 25."""
    _, added, seen = rotor_kit(speed)
    fit = calibrate(added, seen, names=PROBES)
    assert fit.repeat_share[0] > 2 * fit.repeat_share[1:].max()
    assert fit.warnings[0].startswith("p1x repeats to")
    assert not any(w.startswith(("p1y", "p2x", "p2y")) for w in fit.warnings)
    assert 13 < fit.condition < 26
    assert "split between them is not" in fit.warnings[-1]


@pytest.mark.parametrize("speed", ["N1", "N2"])
def test_small_changes_are_no_evidence(speed):
    """The source's notes: changes of 3 to 6 g·mm are at the remounting floor."""
    _, added, seen = rotor_kit(speed)
    fit = calibrate(added, seen, names=PROBES)
    small = (np.abs(added).sum(axis=1) <= 6) & (added != 0).any(axis=1)
    assert small.sum() >= 12
    assert fit.at_floor[small].all()
    large = np.abs(added).sum(axis=1) >= 20
    assert not fit.at_floor[large & (np.abs(added.sum(axis=1)) > 1)].any()


def test_the_sum_of_alike_planes_is_sound():
    records, added, seen = rotor_kit("N1")
    fit = calibrate(added, seen, names=PROBES)
    both = [i for i, r in enumerate(records) if r.startswith("A024")]
    found = fit.solve(seen[both[0]]).unbalance
    assert abs(found.sum()) == pytest.approx(120, rel=0.08)


@settings(max_examples=40)
@given(
    st.integers(0, 10_000),
    st.integers(1, 3),
    st.floats(0.01, 100),
    st.floats(-180, 180),
)
def test_exact_runs_give_the_exact_response(seed, planes, scale, turn):
    rng = np.random.default_rng(seed)

    def z(*shape):
        return rng.standard_normal(shape) + 1j * rng.standard_normal(shape)

    H, base = z(4, planes), z(4)
    added = np.concatenate([np.zeros((1, planes)), np.eye(planes) * scale, z(3, planes) * scale])
    added = added * np.exp(1j * np.deg2rad(turn))
    fit = calibrate(added, base + added @ H.T)
    assert np.allclose(fit.response, H, atol=1e-8 * np.abs(H).max())
    U = z(planes) * scale
    assert np.allclose(fit.solve(base + H @ U).unbalance, U, rtol=1e-6, atol=1e-8 * scale)


def test_bad_runs_are_refused():
    with pytest.raises(BadInput, match="apart"):
        calibrate([[0, 0], [1, 0]], [[1, 2], [2, 3]])
    with pytest.raises(BadInput, match="apart"):
        calibrate([[0, 0], [1, 1], [2, 2]], [[1, 2], [2, 3], [3, 4]])
    with pytest.raises(BadInput, match="dead"):
        calibrate([[0], [1], [2]], [[1, 5], [2, 5], [3, 5]])
    with pytest.raises(BadInput, match="NaN"):
        calibrate([[0], [1]], [[1.0], [math.nan]])
    with pytest.raises(BadInput, match="one row"):
        calibrate([[0], [1], [2]], [[1], [2]])
