"""Gains counted from a ledger whose numbers are known."""

from heavyspot.ledger.entries.learnt import Learnt
from heavyspot.workshop.cartridge.cut_scatter import promise_rows
from heavyspot.workshop.insight.gains import reliability, shop_gains


def run(number, verdict, ratio, chance=0.0, action="cut", trial=False):
    cuts = [{"plane": "nut", "angle_deg": 10.0, "unbalance_gmm": 0.11}]
    advice = {"action": action, "chance_of_pass": chance, "trial": trial, "cuts": cuts}
    return {
        "number": number, "verdict": verdict, "worst_ratio": ratio, "result": {"advice": advice},
        "recording": "", "recording_sha256": "", "conditions": {}, "curves": b"",
    }  # fmt: skip


def test_counts(shop):
    for serial, runs in {
        "G-1": [run(1, "fail", 3.0, trial=True), run(2, "fail", 4.0, 0.9), run(3, "pass", 0.7)],
        "G-2": [run(1, "fail", 2.0, 0.95), run(2, "pass", 0.5)],
        "G-3": [run(1, "pass", 0.6, action="stop")],
    }.items():
        piece = shop.add_piece(serial, "Larch 52")
        last = None
        for r in runs:
            made = shop.book.cuts(piece, "made")
            kept = promise_rows(last, made, piece, r["verdict"])
            shop.book.add_run(r | {"piece_id": piece}, [], Learnt(promises=kept))
            last = r
            if r["result"]["advice"]["action"] == "cut" and r["verdict"] == "fail":
                shop.ground(serial, "nut", 10.0, mass_mg=20.0)
    gains = shop_gains(shop)
    (larch,) = gains.models
    assert [u.runs for u in larch.units] == [3, 2]
    assert (larch.worse, larch.cuts, larch.median_runs, larch.mass_mg) == (1, 3, 2.5, 30.0)
    (kept,) = gains.kept
    assert (kept.low, kept.number, kept.happened) == (0.9, 2, 1.0)


def test_reliability_counts_tenths():
    kept = reliability([(0.05, False), (1.0, True), (0.95, False)])
    assert [(k.low, k.number, k.happened) for k in kept] == [(0.0, 1, 0.0), (0.9, 2, 0.5)]
