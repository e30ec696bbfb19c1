"""What a sheet says of its uncertainty, on the demo shop: assumed or studied, and the risk that is left."""

from dataclasses import replace

import pytest
from conftest import there

from heavyspot.balance.risk import LEAST_PIECES
from heavyspot.quantities.said import in_words
from heavyspot.sim.cartridge import make_cartridge
from heavyspot.sim.spin import SpinSettings
from heavyspot.sources.simulated import simulated_recording
from heavyspot.workshop.cartridge.spinning import spin
from heavyspot.workshop.cartridge.story import cartridge_story
from heavyspot.workshop.job.pieces import add_piece
from heavyspot.workshop.reading import budget_table
from heavyspot.workshop.rig.health import check_shaker
from heavyspot.workshop.rig.record import add_rig
from heavyspot.workshop.sheets.cartridge import make_report
from heavyspot.workshop.sheets.uncertainty import uncertainty_said

RIG = "north rig"
QUICK = SpinSettings(run_up_s=4.0, hold_s=0.4, coast_s=1.5)


def spun(shop, serial, unit):
    """The same spin of a unit every time, under another serial."""
    add_piece(shop, serial, "Larch 52")
    take = simulated_recording(make_cartridge("Larch 52", unit, peak_g=0.3), 1, QUICK)
    return spin(shop, serial, take, rig=RIG)


def last_of(shop, serial):
    return there(cartridge_story(shop, serial).last)


def codes(shop, serial):
    return [s.code for s in make_report(shop, serial, number="S-1").uncertainty]


def test_repeatability_is_called_assumed_until_the_rig_has_a_study(shop):
    spun(shop, "U-1", 1)
    assert codes(shop, "U-1")[:2] == ["uncertainty.run_assumed", "uncertainty.rule"]
    trials = [[0.30, 0.42], [0.31, 0.41]]
    told = {"repeat_share": 0.02, "read": {"Ida": trials, "Ben": trials}}
    add_rig(shop, RIG, {})
    shop.book.rigs.add_check(RIG, "study", told, by="Ida")
    spun(shop, "U-2", 2)
    report = make_report(shop, "U-2", number="S-2")
    said = report.uncertainty[0]
    assert said.code == "uncertainty.run_studied"
    assert said.values["degrees"] == 4  # two operators, two pieces, one repeat beyond the first
    assert said.values["repeat_share"] == 0.02
    result = last_of(shop, "U-2").result
    k = float(str(said.values["k"]))
    assert 2.0 < k < 2.87  # of Student's t with four degrees, and more beside it
    assert report.worst_u_g == pytest.approx(k * there(result.worst).uncertainty_g)
    assert "4 degrees of freedom" in in_words(said)
    table = there(budget_table(result))
    assert table.k == k and table.expanded_g == pytest.approx(report.worst_u_g)
    assert sum(p.standard_g**2 for p in table.lines) == pytest.approx(table.standard_g**2)
    for p in table.lines:  # GUM 5.1.3: what each adds is its sensitivity times its own uncertainty
        assert p.standard_g == pytest.approx(
            p.sensitivity * p.value, rel=1e-4
        )  # kept to six digits
    noise, repeat, sensor = table.lines
    assert (noise.kind, repeat.kind, sensor.kind) == ("A", "A", "B") and repeat.degrees == 4
    # Welch-Satterthwaite (GUM G.4.1), only the repeatability being known from few readings
    assert table.degrees == pytest.approx(4 * (table.standard_g / repeat.standard_g) ** 4)


def test_a_shaker_within_its_tolerance_corrects_and_one_beyond_it_is_uncertain(shop):
    first = spun(shop, "S-1", 3)
    add_rig(shop, RIG, {})
    check_shaker(shop, RIG, reads_m_s2=10.2)
    again = spun(shop, "S-2", 3)
    ratio = again.judgement.worst.amplitude_g / first.judgement.worst.amplitude_g
    assert ratio == pytest.approx(1 / 1.02, rel=1e-3)
    check_shaker(shop, RIG, reads_m_s2=11.0)
    far = spun(shop, "S-3", 3)
    assert far.judgement.worst.amplitude_g == pytest.approx(
        first.judgement.worst.amplitude_g, rel=1e-6
    )
    assert far.judgement.budget[2].share == pytest.approx(0.1)


def test_a_stated_delay_turns_the_advice_and_is_frozen_into_the_run(shop):
    first = spun(shop, "D-1", 4)
    sensor = first.sensors[0]
    add_rig(shop, RIG, {"sensors": [{"name": sensor, "delay_us": 10.0}]})
    second = spun(shop, "D-2", 4)
    a, b = first.curves[0], second.curves[0]
    k = int((abs(a.speed_rpm - 100_000)).argmin())
    turned = (b.vector[0, k] / a.vector[0, k]) / abs(b.vector[0, k] / a.vector[0, k])
    assert turned == pytest.approx(
        complex(0.994522, -0.104528), abs=2e-3
    )  # 6 degrees at 100,000 rpm
    frozen = last_of(shop, "D-2").entry.conditions["measuring"]
    assert frozen["chains"][sensor]["delay_s"] == pytest.approx(1e-5)


def test_the_risk_is_told_once_the_shop_has_pieces_enough(shop, monkeypatch):
    result = replace(spun_result(shop), verdict="pass")
    story = cartridge_story(shop, "R-1")
    assert [s.code for s in uncertainty_said(shop, result, story.piece.id, story.model)] == [
        "uncertainty.run_assumed", "uncertainty.rule",
    ]  # fmt: skip
    one = shop.book.jobs.pieces(kind="cartridge")[0]
    ratios = [0.5 + 0.02 * i for i in range(LEAST_PIECES)]
    many = [replace(one, id=str(i), worst_ratio=r) for i, r in enumerate(ratios)]
    monkeypatch.setattr(shop.book.jobs, "pieces", lambda **_: many)
    quiet = replace(
        result, worst=replace(result.worst, amplitude_g=0.2, uncertainty_g=0.005, ratio=0.4)
    )
    assert uncertainty_said(shop, quiet, "R-1", story.model)[2].code == "uncertainty.risk_small"
    near = replace(
        result, worst=replace(result.worst, amplitude_g=0.48, uncertainty_g=0.02, ratio=0.96)
    )
    said = uncertainty_said(shop, near, "R-1", story.model)[2]
    assert said.code == "uncertainty.risk" and 0.02 < float(str(said.values["chance"])) < 0.5
    assert said.values["pieces"] == LEAST_PIECES


def spun_result(shop):
    spun(shop, "R-1", 5)
    return last_of(shop, "R-1").result
