"""Gains counted from a ledger whose numbers are known."""

from dataclasses import replace

from workshop.entries import run_of

from heavyspot.ledger.records import Learnt
from heavyspot.workshop.cartridge.cut_scatter import chances_of
from heavyspot.workshop.cartridge.grinding import ground
from heavyspot.workshop.cartridge.story import cartridge_story
from heavyspot.workshop.insight.gains import reliability, shop_gains
from heavyspot.workshop.job.pieces import add_piece


def run(number, verdict, ratio, chance=0.0, action="cut", trial=False):
    return run_of("", number, verdict, ratio, chance_of_pass=chance, action=action, trial=trial)


def test_counts(shop):
    for serial, runs in {
        "G-1": [run(1, "fail", 3.0, trial=True), run(2, "fail", 4.0, 0.9), run(3, "pass", 0.7)],
        "G-2": [run(1, "fail", 2.0, 0.95), run(2, "pass", 0.5)],
        "G-3": [run(1, "pass", 0.6, action="stop")],
    }.items():
        piece = add_piece(shop, serial, "Larch 52")
        for r in runs:
            kept = chances_of(cartridge_story(shop, serial), r.verdict)
            shop.book.cartridges.add_run(replace(r, piece_id=piece), b"", [], Learnt(chances=kept))
            if r.result["advice"]["action"] == "cut" and r.verdict == "fail":
                ground(shop, serial, "nut", 10.0, mass_mg=20.0)
    gains = shop_gains(shop)
    (larch,) = gains.models
    assert [u.runs for u in larch.units] == [3, 2]
    assert (larch.worse, larch.cuts, larch.median_runs, larch.mass_mg) == (1, 3, 2.5, 30.0)
    (kept_chance,) = gains.kept
    assert (kept_chance.low, kept_chance.number, kept_chance.happened) == (0.9, 2, 1.0)


def test_reliability_counts_tenths():
    kept = reliability([(0.05, False), (1.0, True), (0.95, False)])
    assert [(k.low, k.number, k.happened) for k in kept] == [(0.0, 1, 0.0), (0.9, 2, 0.5)]
