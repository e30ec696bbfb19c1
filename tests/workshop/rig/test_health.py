"""A rig's health: master, shaker, two rigs, gauge study, and verdicts that reckon with it."""

import json
from dataclasses import replace

import numpy as np
import pytest
from conftest import there
from fastapi.testclient import TestClient
from typer.testing import CliRunner
from workshop.station.two_houses import QUICK

from heavyspot.cli.main import app
from heavyspot.quantities.errors import BadInput, LedgerFault
from heavyspot.quantities.units import G_N
from heavyspot.sim.cartridge import make_cartridge
from heavyspot.sources.recording import Channel, Recording
from heavyspot.sources.simulated import simulated_recording
from heavyspot.sources.writers import write_flac
from heavyspot.web.app import create_app
from heavyspot.workshop.cartridge.grinding import ground
from heavyspot.workshop.cartridge.spinning import spin
from heavyspot.workshop.job.pieces import add_piece
from heavyspot.workshop.rig.health import (
    SHAKER_HZ,
    check_shaker,
    compare_rigs,
    last_good_check,
    master_state,
    rig_words,
    run_study,
    shaker_reading,
    study_so_far,
    words_at_bench,
)
from heavyspot.workshop.rig.record import add_rig
from heavyspot.workshop.shop import find_piece

RIG, OTHER = "High 1", "High 2"


def spun_unit(shop, serial, unit, seed, *, rig=RIG, gain=1.0, by="Ida"):
    """A spin of a unit, on a rig whose sensor reads `gain` times the truth."""
    take = simulated_recording(make_cartridge("Larch 52", unit), seed, QUICK)
    vibration = take.vibration_indices()[0]
    channels = tuple(
        replace(c, full_scale=c.full_scale * gain) if i == vibration else c
        for i, c in enumerate(take.channels)
    )
    return spin(shop, serial, replace(take, channels=channels), rig=rig, operator=by)


@pytest.fixture
def rigs(shop):
    add_piece(shop, "MASTER", "Larch 52")
    add_rig(shop, RIG, {"master": "MASTER"})
    add_rig(shop, OTHER, {})
    return shop


def test_a_drifting_rig_speaks_before_pieces_are_judged(rigs):
    assert master_state(rigs, OTHER) is None and rig_words(rigs, OTHER) == []
    assert "not been spun" in rig_words(rigs, RIG)[0]
    assert words_at_bench(rigs, RIG) == rig_words(rigs, RIG)
    assert words_at_bench(rigs, OTHER) == words_at_bench(rigs, "Nobody's") == []
    rng = np.random.default_rng(2)
    for n in range(14):
        spun_unit(rigs, "MASTER", 1, n, gain=1 + 0.01 * rng.normal())
        if n == 4:
            assert there(master_state(rigs, RIG)).single is None
    state = there(master_state(rigs, RIG))
    assert state.spins == 14 and state.outside == "" and rig_words(rigs, RIG) == []
    for n in range(14, 20):
        spun_unit(rigs, "MASTER", 1, n, gain=1.04 + 0.01 * rng.normal())
    state = there(master_state(rigs, RIG))
    # limits are from the first twenty at most, so a drift within them widens them; the weighted mean still tells
    assert state.spins == 20
    for n in range(20, 24):
        spun_unit(rigs, "MASTER", 1, n, gain=1.12)
    state = there(master_state(rigs, RIG))
    assert state.outside and "outside its own history" in rig_words(rigs, RIG)[0]
    add_rig(rigs, RIG, {"master": "MASTER", "serviced_at": "2999-01-01"})
    assert there(master_state(rigs, RIG)).spins == 0  # a service begins a new chapter


def test_a_calibration_past_due_speaks(rigs):
    add_rig(rigs, OTHER, {"due": "2020-01-01"})
    assert "was due 2020-01-01" in rig_words(rigs, OTHER)[0]


def tone(tmp_path, rms=10.0, hz=SHAKER_HZ, noise=0.05, seconds=3.0):
    """A recording of a shaker, as a rig's sensor gives it: 100 mV/g, 10 V full scale."""
    rng = np.random.default_rng(1)
    t = np.arange(round(25_600 * seconds)) / 25_600
    g = (rms * np.sqrt(2) * np.sin(2 * np.pi * hz * t) + noise * rng.normal(size=t.size)) / G_N
    data = (0.1 * g / 10.0).astype(np.float32)[:, None]
    channel = Channel("housing", "acceleration", "V", 10.0, (100.0, "mV/g"))
    path = tmp_path / f"shaker-{rms}-{hz}-{seconds}.flac"
    write_flac(Recording((channel,), 25_600.0, len(data), lambda size: iter([data])), path)
    return path


@pytest.mark.parametrize(("rms", "hz"), [(10.0, SHAKER_HZ), (9.5, 158.0), (10.4, 161.0)])
def test_the_shaker_s_tone_is_measured(tmp_path, rms, hz):
    assert shaker_reading(tone(tmp_path, rms, hz)) == pytest.approx(rms, rel=2e-3)


def test_shaker_checks_are_judged_and_kept(rigs, tmp_path):
    assert check_shaker(rigs, RIG, reads_m_s2=10.1, by="Ida").good
    bad = check_shaker(rigs, RIG, recording=tone(tmp_path, 9.4))
    assert not bad.good and bad.gain == pytest.approx(10 / 9.4, rel=3e-3)
    assert "-6.0 %" in rig_words(rigs, RIG)[0] and last_good_check(rigs, RIG)
    for wrong in ({}, {"reads_m_s2": 10, "recording": "x"}, {"reads_m_s2": -1}):
        with pytest.raises(BadInput):
            check_shaker(rigs, RIG, **wrong)
    with pytest.raises(BadInput, match="no clear tone"):
        check_shaker(rigs, RIG, recording=tone(tmp_path, 10.0, 400.0))
    with pytest.raises(BadInput, match="under a second"):
        check_shaker(rigs, RIG, recording=tone(tmp_path, seconds=0.4))
    with pytest.raises(LedgerFault, match="no rig"):
        check_shaker(rigs, "none", reads_m_s2=10)


def test_two_rigs_on_the_same_pieces(rigs):
    for unit in range(6):
        add_piece(rigs, f"X-{unit}", "Larch 52")
        spun_unit(rigs, f"X-{unit}", unit, 10 + unit)
        spun_unit(rigs, f"X-{unit}", unit, 20 + unit, rig=OTHER, gain=1.1)
    add_piece(rigs, "CUT", "Larch 52")
    spun_unit(rigs, "CUT", 9, 1)
    ground(rigs, "CUT", "nut", 20.0, mass_mg=8.0)
    spun_unit(rigs, "CUT", 3, 2, rig=OTHER)  # ground between: tells nothing of the rigs
    agreed, pairs = compare_rigs(rigs, RIG, OTHER)
    assert agreed.n == 6 and "CUT" not in {p.serial for p in pairs}
    assert agreed.mean < 0 and agreed.differs
    mirrored, _ = compare_rigs(rigs, OTHER, RIG)
    assert mirrored.mean == pytest.approx(-agreed.mean)
    with pytest.raises(BadInput):
        compare_rigs(rigs, RIG, "none")


def test_a_gauge_study_from_spins_and_what_it_does_to_verdicts(rigs):
    serials = [f"G-{unit}" for unit in range(4)]
    for serial in serials:
        add_piece(rigs, serial, "Larch 52")
    rng = np.random.default_rng(7)
    for by, bias in (("Ida", 1.0), ("Jon", 1.05)):
        for unit, serial in enumerate(serials):
            for _ in range(2):
                gain = bias * (1 + 0.06 * rng.normal())
                spun_unit(rigs, serial, unit, int(rng.integers(1000)), gain=gain, by=by)
    with pytest.raises(BadInput, match="Missing"):
        run_study(rigs, RIG, [*serials, "MASTER"], since="2020-01-01")
    study, told = run_study(rigs, RIG, serials, since="2020-01-01", by="Ida")
    assert (study.operators, study.parts, study.trials) == (2, 4, 2)
    assert told["gauge_low"] < study.gauge < told["gauge_high"]
    assert (
        f" and {told['gauge_high']:.3g} g.)"
        in TestClient(create_app(rigs.book.folder), base_url="http://127.0.0.1")
        .get(f"/rig-health/{RIG}")
        .text
    )
    assert 0.03 < told["repeat_share"] < 0.2
    assert set(study_so_far(rigs, RIG, serials, since="2020-01-01")) == {"Ida", "Jon"}
    add_piece(rigs, "AFTER", "Larch 52")
    add_piece(rigs, "ELSEWHERE", "Larch 52")
    here = spun_unit(rigs, "AFTER", 5, 5).judgement.worst
    there = spun_unit(rigs, "ELSEWHERE", 5, 5, rig=OTHER).judgement.worst
    assert here.amplitude_g == pytest.approx(there.amplitude_g)
    assert (
        here.uncertainty_g > 1.3 * there.uncertainty_g
    )  # the verdict reckons with the rig it is made on
    check_shaker(rigs, OTHER, reads_m_s2=10.8)
    wider = spun_unit(rigs, "ELSEWHERE", 5, 5, rig=OTHER).judgement.worst
    assert wider.uncertainty_g > there.uncertainty_g
    row = rigs.book.cartridges.runs(find_piece(rigs, "AFTER").id)[0]
    assert row.conditions["scatter"]["run_share"] == pytest.approx(
        told["repeat_share"]
    )  # frozen with the run


def test_on_the_command_line(rigs, tmp_path):
    def run(*words):
        return CliRunner().invoke(app, ["--data", str(rigs.book.folder), "rig", *words])

    for unit in range(3):
        add_piece(rigs, f"X-{unit}", "Larch 52")
        spun_unit(rigs, f"X-{unit}", unit, unit)
        spun_unit(rigs, f"X-{unit}", unit, 9 + unit, rig=OTHER)
    assert run("health", OTHER).exit_code == 0 and run("health", RIG).exit_code == 1
    good = run("shaker", RIG, "--reads", "9.9")
    assert good.exit_code == 0 and "-1.0 %: good" in good.output
    bad = run("shaker", RIG, "--recording", str(tone(tmp_path, 9.0)))
    assert bad.exit_code == 1 and "multiplied by 1.11" in bad.output
    assert "within chance" in run("compare", RIG, OTHER).output
    assert json.loads(run("compare", RIG, OTHER, "--json").output)["n"] == 3
    assert run("study", RIG, "X-0", "X-1", "--since", "2020-01-01").exit_code != 0
