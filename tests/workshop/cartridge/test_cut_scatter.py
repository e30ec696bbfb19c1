"""What the ledger teaches of the shop's hands and of its own word."""

import numpy as np
import pytest
from loop.loop import Rig, balance, model_of, speeds_of
from loop.run import maker

from heavyspot.balance.cut.response import History, MadeCut, estimate
from heavyspot.ledger.entries.learnt import Learnt
from heavyspot.sim.cartridge import make_cartridge
from heavyspot.sim.spin import SpinSettings
from heavyspot.sources.simulated import simulated_recording
from heavyspot.workshop.cartridge.cut_scatter import craft_of, cut_error_rows, promise_rows
from heavyspot.workshop.cartridge.other_units import priors_of

MODEL = model_of("Larch 52", 150_000.0, 52.0)


def errors(operator, share, n, seed, asked=0.0):
    rng = np.random.default_rng(seed)
    return [
        {
            "operator": operator, "cutter": "flat", "share": share * rng.standard_normal(),
            "share_noise": 0.03, "angle_deg": rng.standard_normal(), "angle_noise_deg": 0.5,
            "asked_share": asked * rng.standard_normal(), "asked_angle_deg": 0.0,
        }
        for _ in range(n)
    ]  # fmt: skip


def test_each_operator_has_a_hand_of_his_own(shop):
    piece = shop.add_piece("C-1", "Larch 52")
    run = {"number": 1, "verdict": "fail", "worst_ratio": 2.0, "result": {}, "recording": "",
           "recording_sha256": "", "conditions": {}, "curves": b"", "piece_id": piece}  # fmt: skip
    shop.book.add_run(run, [], Learnt())
    cut = shop.ground("C-1", "nut", 10.0, mass_mg=5.0)["cut"]
    link = {"piece_id": piece, "cut_id": cut}
    rows = [r | link for r in (*errors("Ida", 0.05, 60, 1), *errors("Ole", 0.3, 60, 2))]
    shop.book.add_run(run | {"number": 2}, [], Learnt(cut_errors=rows))
    ida, ole, new = (craft_of(shop.book, MODEL, who).scatter for who in ("Ida", "Ole", "Una"))
    assert ida.making("nut")[0] == pytest.approx(0.07, abs=0.03)
    assert ole.making("nut")[0] == pytest.approx(0.3, abs=0.05)
    assert ida.making("nut")[0] < new.making("nut")[0] < ole.making("nut")[0]
    assert ida.making("nut")[1] < 2.5


def test_a_cut_that_went_wrong_is_seen_through_what_is_known_of_the_model():
    """From the shop's own loop: 40 units known, one cut of another size than recorded."""
    model, make = maker("Larch 52")
    library = []
    for s in range(40):
        balance(model, make(3000 + s), 3000 + s, library)
    speed = speeds_of(model)
    priors = priors_of(library, model, speed, rig="rig")
    rows = []
    for s in range(12):
        rig = Rig(make(4000 + s), speed, np.random.default_rng(s), cut_share=0, cut_angle_deg=0)
        first = rig.spin()
        size = 0.6 * np.abs(first).max() / np.abs(rig.unit.plane_response("nut", speed)).max()
        rig.grind("nut", 36.0, 1.3 * size)
        noise = np.full((2, speed.size), 0.002)
        removed = complex(size * np.exp(1j * np.deg2rad(30.0)))
        history = History(
            speed, np.stack([first, rig.spin()]), noise, (MadeCut(1, "nut", removed),)
        )
        now = estimate(history, priors, model.as_scatter())
        made = [{"id": "c", "piece_id": "p", "by": "Ida", "after_run": 1, "plane": "nut",
                 "angle_deg": 30.0, "unbalance_gmm": size}]  # fmt: skip
        rows += cut_error_rows(history, made, made, model, now, 2)
    assert len(rows) >= 8  # where the prior leaves the error open, nothing is kept
    assert np.mean([r["share"] for r in rows]) == pytest.approx(0.3, abs=0.12)
    assert np.mean([r["angle_deg"] for r in rows]) == pytest.approx(6.0, abs=3.0)
    off = [(r["share"] - 0.3) / r["share_noise"] for r in rows]
    assert np.sqrt(np.mean(np.square(off))) < 1.8
    assert rows[0]["asked_share"] == 0 and rows[0]["operator"] == "Ida"


def before(**advice):
    cut = {"plane": "nut", "angle_deg": 40.0, "unbalance_gmm": 2.0}
    usual = {
        "action": "cut",
        "trial": False,
        "chance_of_pass": 0.8,
        "computed_chance": 0.7,
        "cuts": [cut],
    }
    return {"number": 3, "result": {"advice": usual | advice}}


def made(**changes):
    return [{"plane": "nut", "angle_deg": 42.0, "unbalance_gmm": 2.1, "after_run": 3} | changes]


def test_a_promise_counts_only_when_the_advice_was_followed():
    (row,) = promise_rows(before(), made(), "p", "pass")
    assert (row["computed"], row["said"], row["passed"], row["run_number"]) == (0.7, 0.8, True, 3)
    for run, cuts in [
        (None, made()),
        (before(trial=True), made()),
        (before(action="stop", cuts=[]), []),
        (before(), made(angle_deg=200.0)),
        (before(), made(unbalance_gmm=9.0)),
        (before(), made(plane="turbine hub")),
        (before(), []),
    ]:
        assert promise_rows(run, cuts, "p", "pass") == []


def test_a_run_that_contradicts_its_cut_is_repeated_before_the_next_cut(shop):
    """Twelve units known, then a cut typed 90 degrees off: one more run is asked, not a cut on it."""
    settings = SpinSettings(run_up_s=4.0, coast_s=2.0)
    for n in range(10):
        unit = make_cartridge("Larch 52", 500 + n, peak_g=1.6)
        shop.add_piece(f"K-{n}", "Larch 52")
        shop.spin(f"K-{n}", simulated_recording(unit, n, settings), rig="north")
        shop.ground(f"K-{n}", "nut", 30.0, unbalance_gmm=1.0)
        after = unit.ground("nut", 30.0, 1.0)
        shop.spin(f"K-{n}", simulated_recording(after, 50 + n, settings), rig="north")
    unit = make_cartridge("Larch 52", 700, peak_g=1.6)
    shop.add_piece("K-X", "Larch 52")
    shop.spin("K-X", simulated_recording(unit, 90, settings), rig="north")
    shop.ground("K-X", "nut", 120.0, unbalance_gmm=1.0)  # really at 30
    unit = unit.ground("nut", 30.0, 1.0)
    told = shop.spin("K-X", simulated_recording(unit, 91, settings), rig="north")
    assert "cut.not_as_recorded" in {f.code for f in told.findings}
    assert told.advice.action == "spin_again" and "worth more than a cut" in told.advice.why
    again = shop.spin("K-X", simulated_recording(unit, 92, settings), rig="north")
    assert again.advice.action != "spin_again"
