"""Both ends of a cartridge count: each is judged, advised on, learnt from; a rig of the tests' own."""

from dataclasses import replace

import numpy as np
import pytest
from conftest import there
from faults import turbo

from heavyspot.balance.cut.advice_case import Advice
from heavyspot.sheet.plots import runs_svg
from heavyspot.sources.live import ReplayLive
from heavyspot.sources.recording import Channel, from_array
from heavyspot.workshop.bench.capture import Capture
from heavyspot.workshop.cartridge.answering import looked
from heavyspot.workshop.cartridge.curves_view import curves_view
from heavyspot.workshop.cartridge.grinding import ground
from heavyspot.workshop.cartridge.one_run import curve_csv
from heavyspot.workshop.cartridge.past import SensedCurve, comparable, past_runs
from heavyspot.workshop.cartridge.spinning import spin
from heavyspot.workshop.cartridge.story import cartridge_story
from heavyspot.workshop.job.pieces import add_piece
from heavyspot.workshop.model.models import add_model
from heavyspot.workshop.reading.kept import KeptAdvice
from heavyspot.workshop.sheets.cartridge import make_report
from heavyspot.workshop.shop import Workshop
from heavyspot.workshop.taking.disk_first import About

ENDS = ("compressor end", "turbine end")
MODEL = {
    "name": "two ends", "rotation": "clockwise", "rated_speed_rpm": 165_000, "test_speed_rpm": turbo.TEST_RPM,
    "plane": [{"name": "nut", "radius_mm": 8.0, "max_depth_mm": 3.0, "budget_mg": 9000.0}],
}  # fmt: skip


@pytest.fixture
def shop(tmp_path):
    made = Workshop(tmp_path / "data")
    add_model(made, MODEL)
    yield made
    made.close()


class TwoEnds:
    """One shaft, one unbalance; each end of the housing answers in its own way, alike in every unit."""

    def __init__(self, seed, ends_g):
        made = [turbo.make_unit(i, g) for i, g in enumerate(ends_g)]
        turn = np.exp(1j * np.deg2rad([0.0, 35.0]))  # how the ends lag, alike in every unit
        self.units = [replace(u, scale=abs(u.scale) * t) for u, t in zip(made, turn, strict=True)]
        self.u0 = 0.15  # g·mm
        self.left = self.u0 * np.exp(1j * seed)
        self.spun = seed * 1000

    def truth_g(self):
        grid = np.linspace(0.15, 1.0, 400) * turbo.TEST_RPM
        return [float(np.abs(v(grid)).max()) for v in self._vectors()]

    def _vectors(self):
        return [lambda s, u=unit: u.vector(s) * self.left / self.u0 for unit in self.units]

    def cut(self, gmm, angle_deg):
        self.left -= gmm * np.exp(1j * np.deg2rad(angle_deg))

    def recording(self, dead=None):
        self.spun += 1
        takes = [turbo.spin(v, self.spun) for v in self._vectors()]
        volts = [0.1 * t.housing_g for t in takes]
        if dead is not None:
            volts[dead] = 1e-4 * np.random.default_rng(1).standard_normal(volts[dead].size)
        data = np.stack([*volts, takes[0].pickup_v], axis=1) / 10.0
        kind = takes[0].as_recording().channels[1].reference
        channels = [Channel(e, "acceleration", "V", 10.0, (100.0, "mV/g")) for e in ENDS]
        channels.append(Channel("pickup", "phase", "V", 10.0, reference=kind))
        return from_array(
            np.clip(data, -1, 1).astype(np.float32), channels=tuple(channels),
            sample_rate_hz=turbo.RATE_HZ, rotation="clockwise", rig="rig",
        )  # fmt: skip


def balanced(shop, serial, rig, runs=6):
    """Spin and grind as told until it stops; returns the results."""
    add_piece(shop, serial, "two ends")
    results = []
    for _ in range(runs):
        results.append(spin(shop, serial, rig.recording()))
        advice: Advice | KeptAdvice = results[-1].advice
        if advice.action == "fix":  # the cut is there as written down
            last = looked(shop, serial, by="Ada").last
            assert last is not None
            advice = last.result.advice
        if advice.action == "stop":
            break
        for c in advice.cuts:
            rig.cut(c.unbalance_gmm, c.angle_deg)
            ground(shop, serial, c.plane, c.angle_deg, depth_mm=c.depth_mm)
    return results


def test_the_loudest_end_is_shown_while_it_turns(tmp_path):
    """Whatever the order of the channels: what one sensor feels never hides behind a quiet first one."""
    rig = TwoEnds(4, (0.2, 0.8))
    capture = Capture(ReplayLive(rig.recording(), pace=1000.0), tmp_path, About("A4"))
    capture.start()
    assert capture.finished.wait(120)
    speed, g = capture.snapshot.curve
    assert g.max() == pytest.approx(max(rig.truth_g()), rel=0.1)
    assert speed[-1] > 0.9 * turbo.TEST_RPM
    assert capture.snapshot.amplitude_g <= g.max() * 1.1


def test_the_far_end_decides_though_the_first_is_quiet(shop):
    add_piece(shop, "A1", "two ends")
    result = spin(shop, "A1", TwoEnds(1, (0.2, 0.8)).recording())
    judged = there(result.judgement)
    assert result.verdict == "fail" and judged.sensor == "turbine end"
    assert {e.sensor: e.verdict for e in judged.each} == {
        "compressor end": "pass", "turbine end": "fail",
    }  # fmt: skip
    kept = there(cartridge_story(shop, "A1").last).result
    assert kept.sensor == "turbine end" and [e.verdict for e in kept.each] == ["pass", "fail"]
    drawn = result.as_json()["sensors"]
    highest = [max(s["amplitude_g"]) for s in drawn]
    assert [s["sensor"] for s in drawn] == list(ENDS)
    assert highest == pytest.approx([0.2, 0.8], rel=0.06)


def test_a_limit_may_be_of_one_sensor(shop):
    limits = [{"limit_g": 0.5}, {"limit_g": 1.2, "sensor": "turbine end"}]
    add_model(shop, MODEL | {"name": "lenient", "limit": limits})
    add_piece(shop, "A2", "lenient")
    result = spin(shop, "A2", TwoEnds(1, (0.2, 0.8)).recording())
    assert result.verdict == "pass"
    assert {e.sensor: e.worst.limit_g for e in there(result.judgement).each} == {
        "compressor end": 0.5, "turbine end": 1.2,
    }  # fmt: skip


@pytest.mark.parametrize("dead", [0, 1])
def test_a_dead_end_is_no_pass(shop, dead):
    add_piece(shop, "A3", "two ends")
    result = spin(shop, "A3", TwoEnds(2, (0.2, 0.2)).recording(dead=dead))
    assert result.verdict == "undecided"
    assert any(f.severity == "block" and ENDS[dead] in f.text for f in result.findings)


def test_what_one_end_alone_shows_is_found_and_says_where(shop):
    add_piece(shop, "A4", "two ends")
    rig = TwoEnds(3, (0.2, 0.2))
    recording = rig.recording()
    data = np.concatenate([b.data for b in recording.blocks()])
    t = np.arange(len(data)) / turbo.RATE_HZ
    data[:, 1] += (0.01 * 0.2 * np.sin(2 * np.pi * 410.0 * t)).astype(np.float32)
    humming = from_array(
        data,
        channels=recording.channels,
        sample_rate_hz=turbo.RATE_HZ,
        rotation="clockwise",
        rig="rig",
    )
    tone = next(f for f in spin(shop, "A4", humming).findings if f.code == "tone.fixed")
    assert tone.text.startswith("turbine end: ")


def test_units_teach_both_ends_and_the_next_one_is_cut_at_once(shop):
    for n in range(5):
        rig = TwoEnds(20 + n, (0.45, 0.9))
        results = balanced(shop, f"B{n}", rig)
        assert results[-1].verdict == "pass"
        assert max(rig.truth_g()) < 0.5
    first = results[0].advice
    assert (
        first.action == "cut" and not first.trial and "other units of the model 4" in first.reason
    )
    others = results[0].as_json()["advice"]["predicted"]["others"]
    assert len(others) == 1 and len(others[0]["speed_rpm"]) == len(others[0]["high_g"]) > 50
    assert len(results) <= 3


def sensed(number, *sensors):
    curve = type("C", (), {})()
    return SensedCurve(number, curve, sensors)


def test_runs_are_compared_by_the_sensors_they_share():
    old, both, turbine = sensed(1, "housing"), sensed(2, *ENDS), sensed(3, "turbine end")
    assert comparable([both, both]) == ([both, both], ENDS)
    assert comparable([both, turbine]) == ([both, turbine], ("turbine end",))
    assert comparable([turbine, both]) == ([turbine, both], ("turbine end",))
    assert comparable([old, both]) == ([both], ENDS)  # nothing says which of them it was
    assert comparable([old, turbine]) == ([old, turbine], ("turbine end",))  # one, renamed


def test_what_decides_is_what_is_drawn_and_printed(shop, tmp_path):
    add_piece(shop, "C1", "two ends")
    spin(shop, "C1", TwoEnds(1, (0.2, 0.8)).recording())
    view = curves_view(shop, "C1")
    assert view.sensor == "turbine end" and [o.sensor for o in view.others] == ["compressor end"]
    drawn = [
        max(g for g in row if g is not None)
        for row in (view.runs[0].amplitude_g, view.others[0].amplitude_g)
    ]
    assert drawn == pytest.approx([0.8, 0.2], rel=0.06)
    svg = runs_svg(view, name="C1")
    assert "compressor end" in svg
    lines = list(curve_csv(past_runs(shop, cartridge_story(shop, "C1"))[0]))
    assert {line.split(",")[0] for line in lines[1:]} == {'"compressor end"', '"turbine end"'}
    report = make_report(shop, "C1", number="S-1")
    assert "turbine end" in report.sensor and "compressor end" in report.sensor
    assert max(report.last.amplitude_g) == pytest.approx(0.8, rel=0.06)
    assert report.worst_g == pytest.approx(max(report.last.amplitude_g), rel=0.02)
