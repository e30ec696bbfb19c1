"""A rig whose angles run the other way is found by the guided check, and then balances; unfound, it never cuts."""

import numpy as np
import pytest
from conftest import there
from typer.testing import CliRunner
from workshop.cartridge.tabled.test_closed_loop import MODEL, SPEEDS, balance, shop, shown

from heavyspot import BadInput
from heavyspot.cli.main import app
from heavyspot.sim.cartridge import make_cartridge
from heavyspot.workshop.cartridge.grinding import ground
from heavyspot.workshop.cartridge.past import history_of, trusted_curves
from heavyspot.workshop.cartridge.story import cartridge_story
from heavyspot.workshop.cartridge.tabled.spinning import spin_table
from heavyspot.workshop.model.model_file import parse_model
from heavyspot.workshop.rig.angle_check import (
    TrialCut,
    check_moved_mark,
    check_two_cuts,
    keep_angles,
)
from heavyspot.workshop.rig.record import add_rig, find_rig

__all__ = ["MODEL", "shop"]  # a fixture


def marked(unit, rng, *, moved_deg, sense, zero_deg=70.0):
    """Return the table of a unit whose mark was moved against rotation by an angle: its angles become smaller."""
    turned = make_cartridge("Larch 52", 3, peak_g=1.2) if unit is None else unit

    class Moved:
        @staticmethod
        def vector(speed):
            return turned.vector(speed) * np.exp(-1j * np.deg2rad(moved_deg))

    return shown(Moved, rng, sense=sense, zero_deg=zero_deg)


@pytest.mark.parametrize("sense", ["with", "against"])
@pytest.mark.parametrize("moved", [90.0, 60.0, 120.0])
def test_a_moved_mark_tells_the_sense_and_the_rig_then_balances(shop, sense, moved):
    rng = np.random.default_rng(7)
    unit = make_cartridge("Larch 52", 4, peak_g=1.2)
    add_rig(shop, "stand", {"note": "of the year 1998", "pickup_delay_us": 3.0})
    before = marked(unit, rng, moved_deg=0.0, sense=sense)
    after = marked(unit, rng, moved_deg=moved, sense=sense)
    found = check_moved_mark(before, after, moved)
    assert found.sense == sense
    assert check_moved_mark(before, after, -moved, forward=True).sense == sense
    with pytest.raises(BadInput):  # said to be moved by another angle
        check_moved_mark(before, after, moved + 40.0)
    keep_angles(shop, "stand", found, zero_deg=70.0, sensor_lag_deg=90.0, by="Ines")
    kept = find_rig(shop, "stand")
    assert kept.angles is not None and kept.angles.sense == sense
    assert (kept.note, kept.pickup_delay_us) == ("of the year 1998", 3.0)  # what stood there stays
    results, _ = balance(shop, unit, rng, sense=sense)
    assert results[-1].verdict == "pass"


@pytest.mark.parametrize("sense", ["with", "against"])
def test_two_trial_cuts_tell_it_too(sense):
    rng = np.random.default_rng(2)
    unit = make_cartridge("Larch 52", 5, peak_g=1.2)
    cuts = TrialCut(30.0, 2.0), TrialCut(130.0, 2.0)
    once = unit.ground("nut", 30.0, 2.0)
    twice = once.ground("nut", 130.0, 2.0)
    tables = [shown(u, rng, sense=sense) for u in (unit, once, twice)]
    assert check_two_cuts(tables, cuts).sense == sense
    small = unit.ground("nut", 30.0, 0.01)
    with pytest.raises(BadInput):  # what the runs scatter is more than what such cuts do
        check_two_cuts(
            [shown(u, rng, sense=sense) for u in (unit, small, small.ground("nut", 130.0, 0.01))],
            (TrialCut(30.0, 0.01), TrialCut(130.0, 0.01)),
        )


def test_tables_without_angles_or_at_other_speeds_tell_nothing():
    rng, unit = np.random.default_rng(2), make_cartridge("Larch 52", 5, peak_g=1.2)
    with pytest.raises(BadInput, match="no angles"):
        check_moved_mark(shown(unit, rng, angles=False), shown(unit, rng), 90.0)
    other = tuple(v + 4000.0 for v in SPEEDS)
    with pytest.raises(BadInput, match="fewer than two speeds"):
        check_moved_mark(shown(unit, rng), shown(unit, rng, speeds=other), 90.0)


def test_the_check_by_command_is_kept_only_when_asked(tmp_path):
    rows = "{} 0.12 {}\n{} 0.31 {}\n"
    (tmp_path / "one.txt").write_text(rows.format(60_000, 35, 90_000, 80))
    (tmp_path / "two.txt").write_text(rows.format(60_000, 125, 90_000, 170))
    run = CliRunner().invoke
    base = ["--data", str(tmp_path / "data"), "rig", "angles", "stand"]
    assert "Move the mark" in run(app, base).output
    files = [str(tmp_path / "one.txt"), str(tmp_path / "two.txt")]
    stated = ["--unit", "g", "--measure", "peak"]
    told = run(app, [*base, *files, *stated])
    assert told.exit_code == 0 and "counts with rotation" in told.output
    assert "Not kept" in told.output
    assert "Kept" in run(app, [*base, *files, *stated, "--keep"]).output


def test_runs_read_by_a_way_of_counting_that_was_wrong_are_not_compared(shop):
    rng, unit = np.random.default_rng(7), make_cartridge("Larch 52", 4, peak_g=1.2)
    add_rig(shop, "stand", {"angles": {"sense": "against", "zero_deg": 70.0}})
    wrong = spin_table(shop, "T-1", shown(unit, rng, sense="with"))
    for cut in wrong.advice.cuts:
        ground(shop, "T-1", cut.plane, cut.angle_deg, unbalance_gmm=cut.unbalance_gmm)
    add_rig(shop, "stand", {"angles": {"sense": "with", "zero_deg": 70.0}})
    spin_table(shop, "T-1", shown(unit, rng, sense="with"))
    (kept,) = [c for c in trusted_curves(shop, cartridge_story(shop, "T-1")) if c.frame == ""]
    assert kept.number == 2


def test_a_rig_whose_zero_is_not_known_is_compared_with_itself_alone(shop):
    rng, unit = np.random.default_rng(7), make_cartridge("Larch 52", 4, peak_g=1.2)
    for rig in ("stand", "other"):
        add_rig(shop, rig, {"angles": {"sense": "with"}})
        spin_table(shop, "T-1", shown(unit, rng), rig=rig)
    curves = trusted_curves(shop, cartridge_story(shop, "T-1"))
    assert [c.frame for c in curves] == ["zero of stand", "zero of other"]
    history = there(history_of(curves, (), parse_model(MODEL, name="it")))
    assert history.vectors.shape[0] == 1
