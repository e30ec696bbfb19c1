"""A job through tables alone, on the simulated rotor: what its rig shows, typed at seven speeds."""

import json

import numpy as np
import pytest
from conftest import there

from heavyspot import BadInput, NotThere, Workshop
from heavyspot.sim.cartridge import make_cartridge
from heavyspot.sources.curve_table import CurveTable, read_table
from heavyspot.workshop.cartridge.answering import looked
from heavyspot.workshop.cartridge.grinding import ground
from heavyspot.workshop.cartridge.one_run import archived
from heavyspot.workshop.cartridge.story import cartridge_story
from heavyspot.workshop.cartridge.tabled.spinning import spin_table
from heavyspot.workshop.job.pieces import add_piece
from heavyspot.workshop.model.models import add_model
from heavyspot.workshop.rig.record import add_rig
from heavyspot.workshop.sheets.cartridge import make_report

TEST_RPM = 150_000
SPEEDS = tuple(float(v) for v in (60_000, 75_000, 90_000, 105_000, 120_000, 135_000, 150_000))
MODEL = {
    "name": "Larch 52",
    "rotation": "clockwise",
    "rated_speed_rpm": 175_000,
    "test_speed_rpm": TEST_RPM,
    "from_speed_rpm": 60_000,
    "table_gap_share": 0.1,
    "plane": [{"name": "nut", "radius_mm": 6.0, "max_depth_mm": 1.2}],
}
MIRRORED = {
    "angles": {"sense": "with", "zero_deg": 70.0, "checked_at": "2026-11-01", "how": "moved mark"}
}


@pytest.fixture
def shop(tmp_path):
    made = Workshop(tmp_path / "data")
    add_model(made, MODEL)
    add_piece(made, "T-1", "Larch 52", customer="Fjord Haulage")
    yield made
    made.close()


def shown(unit, rng, *, sense="with", zero_deg=70.0, speeds=SPEEDS, angles=True):
    """Return what a rig shows of a unit: two figures, whole degrees, by its own way of counting."""
    v = unit.vector(np.array(speeds)) * (1 + 0.01 * rng.standard_normal())
    v = v * np.exp(-1j * np.deg2rad(zero_deg - rng.standard_normal()))
    v = v if sense == "against" else np.conj(v)
    degrees = np.round(np.rad2deg(np.angle(v))) % 360
    return CurveTable(
        speeds,
        (tuple(float(f"{a:.2f}") for a in np.abs(v)),),
        "g",
        "peak",
        (tuple(map(float, degrees)),) if angles else None,
        step=0.01,
        angle_step_deg=1.0,
        rig="stand",
    )


def balance(shop, unit, rng, *, runs=8, **how):
    results = []
    for _ in range(runs):
        results.append(spin_table(shop, "T-1", shown(unit, rng, **how), operator="Ines"))
        if results[-1].advice.action == "fix" and there(results[-1].judgement).verdict == "fail":
            if not cartridge_story(shop, "T-1").made:
                break
            why = "The trial cut is as written."
            story = looked(shop, "T-1", by="Ines", knowingly=True, why=why)
            kept = there(story.last).result.advice
            action, wanted = (
                kept.action,
                [(c.plane, c.angle_deg, c.unbalance_gmm) for c in kept.cuts],
            )
        else:
            told = results[-1].advice
            action, wanted = (
                told.action,
                [(c.plane, c.angle_deg, c.unbalance_gmm) for c in told.cuts],
            )
        if action != "cut":
            break
        for plane, angle, amount in wanted:
            ground(shop, "T-1", plane, angle, unbalance_gmm=amount)
            unit = unit.ground(plane, angle, amount * (1 + 0.05 * rng.normal()))
    return results, unit


@pytest.mark.parametrize("seed", [3, 4, 5])
@pytest.mark.parametrize("known", ["sense", "sense and zero", "sense, zero and sensor"])
def test_a_mirrored_and_shifted_rig_balances_when_it_is_stated_right(shop, seed, known):
    more = {"sense": {}, "sense and zero": {"zero_deg": 70.0}}.get(
        known, {"zero_deg": 70.0, "sensor_lag_deg": 90.0}
    )
    add_rig(shop, "stand", {"angles": {"sense": "with"} | more})
    results, unit = balance(
        shop, make_cartridge("Larch 52", seed, peak_g=1.2), np.random.default_rng(seed)
    )
    assert results[0].verdict == "fail"
    assert results[-1].verdict == "pass", [r.reason for r in results]
    fine = np.linspace(60_000, TEST_RPM, 200)
    assert np.abs(unit.vector(fine)).max() <= 0.5
    kept = there(cartridge_story(shop, "T-1").last)
    assert there(kept.conditions.recording.table).rows == 7
    assert any(f.code == "table.read" for f in kept.result.findings)


def test_nothing_stated_no_cut(shop):
    rng = np.random.default_rng(1)
    results, _ = balance(shop, make_cartridge("Larch 52", 3, peak_g=1.2), rng)
    assert len(results) == 1
    assert results[0].verdict == "fail"
    assert not results[0].advice.cuts
    assert any(f.code == "table.sense_unknown" for f in results[0].findings)


def test_a_gap_that_the_model_does_not_allow_is_never_a_pass(shop):
    add_rig(shop, "stand", MIRRORED)
    add_model(shop, {**MODEL, "table_gap_share": None})
    result = spin_table(
        shop, "T-1", shown(make_cartridge("Larch 52", 3, peak_g=0.1), np.random.default_rng(1))
    )
    assert result.verdict == "undecided"
    reason = there(result.judgement).reason
    assert reason.code == "verdict.gaps"
    assert reason.values["gap_rpm"] == 15_000
    assert reason.values["hole_rpm"] == pytest.approx(3_003)


def test_the_table_is_kept_as_it_was_and_says_what_it_is(shop):
    table = shown(make_cartridge("Larch 52", 3, peak_g=1.2), np.random.default_rng(1))
    spin_table(shop, "T-1", table)
    entry = there(cartridge_story(shop, "T-1").last).entry
    assert entry.recording.endswith(".curve")
    assert read_table(shop.book.archive.open(entry.recording)) == table
    assert shop.book.archive.fault(entry.recording, entry.recording_sha256) == ""
    with pytest.raises(NotThere, match="is a table"):
        archived(shop, entry.recording)
    with pytest.raises(BadInput, match="read already, as run 1"):
        spin_table(shop, "T-1", table)
    assert cartridge_story(shop, "T-1").number == 1


def test_other_speeds_than_before_are_said_and_nothing_is_cut(shop):
    add_rig(shop, "stand", MIRRORED)
    unit, rng = make_cartridge("Larch 52", 3, peak_g=1.2), np.random.default_rng(1)
    spin_table(shop, "T-1", shown(unit, rng))
    other = tuple(v + 4000.0 for v in SPEEDS[:-1])
    result = spin_table(shop, "T-1", shown(unit, rng, speeds=other))
    assert any(f.code == "table.speeds_differ" for f in result.findings)
    assert result.advice.action == "spin_again"


@pytest.mark.parametrize("seed", [3, 4, 5, 6])
def test_amplitudes_alone_balance_by_trial_cuts(shop, seed):
    rng = np.random.default_rng(seed)
    unit = make_cartridge("Larch 52", seed, peak_g=1.2)
    results, unit = balance(shop, unit, rng, runs=9, angles=False)
    assert [r.advice.trial for r in results[:4]] == [True, True, True, False]
    assert all(f.code == "table.no_angle" for f in results[0].findings if f.severity == "warn")
    assert results[-1].verdict == "pass", [r.reason for r in results]
    assert np.abs(unit.vector(np.linspace(60_000, TEST_RPM, 200))).max() <= 0.5


def test_a_peak_alone_asks_for_trial_cuts_at_one_speed_and_never_passes(shop):
    for peak in (0.9, 0.2):
        table = CurveTable((150_000.0,), ((peak,),), "g", "peak", step=0.01)
        result = spin_table(shop, "T-1", table)
        assert result.verdict != "pass"
        assert bool(result.advice.cuts) == (peak > 0.5)


def test_sheet_and_story_say_that_it_is_a_table(shop):
    table = shown(make_cartridge("Larch 52", 3, peak_g=0.2), np.random.default_rng(1), angles=False)
    assert spin_table(shop, "T-1", table).verdict == "pass"
    report = make_report(shop, "T-1", number="1")
    assert any(f.code == "finding.table.read" for f in report.findings)
    assert story_json_says(shop, "table.read")
    assert shop.book.events.digests(there(cartridge_story(shop, "T-1").last).entry.recording)


def story_json_says(shop, code):
    return code in json.dumps(cartridge_story(shop, "T-1").as_json())


def test_a_gap_share_of_the_model_is_said_on_the_finding(shop):
    rng = np.random.default_rng(1)
    result = spin_table(shop, "T-1", shown(make_cartridge("Larch 52", 3, peak_g=0.2), rng))
    (told,) = [f for f in result.findings if f.code == "table.read"]
    assert told.evidence == {"rows": 7.0, "widest_rpm": 15_000.0}
