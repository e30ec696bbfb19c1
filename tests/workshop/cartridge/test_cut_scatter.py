"""What the ledger teaches of the shop's hands and of its own word."""

from dataclasses import replace

import numpy as np
import pytest
from loop.loop import Rig, balance, model_of, speeds_of
from loop.run import maker
from workshop.entries import CUT, cut_of, run_of, story_of

from heavyspot.balance.cut.history import History, MadeCut
from heavyspot.balance.cut.response import estimate
from heavyspot.ledger.records import CutError, Learnt
from heavyspot.workshop.cartridge.cut_scatter import (
    chances_of,
    cut_errors_of,
    cut_scatter_of,
)
from heavyspot.workshop.cartridge.grinding import ground
from heavyspot.workshop.job.pieces import add_piece
from heavyspot.workshop.model.other_units import Lesson, priors_of

MODEL = model_of("Larch 52", 150_000.0, 52.0)


def errors(operator, share, n, seed, asked=0.0):
    rng = np.random.default_rng(seed)
    return [
        CutError(
            piece_id="", cut_id="", operator=operator, cutter="flat", share=share * rng.standard_normal(),
            share_noise=0.03, angle_deg=rng.standard_normal(), angle_noise_deg=0.5,
            asked_share=asked * rng.standard_normal(), asked_angle_deg=0.0,
        )
        for _ in range(n)
    ]  # fmt: skip


def test_each_operator_has_a_hand_of_his_own(shop):
    piece = add_piece(shop, "C-1", "Larch 52")
    shop.book.cartridges.add_run(run_of(piece), b"", [], Learnt())
    cut = ground(shop, "C-1", "nut", 10.0, mass_mg=5.0).cut
    told = (*errors("Ida", 0.05, 60, 1), *errors("Ole", 0.3, 60, 2))
    kept = tuple(replace(e, piece_id=piece, cut_id=cut.id) for e in told)
    shop.book.cartridges.add_run(run_of(piece, 2), b"", [], Learnt(cut_errors=kept))
    ida, ole, new = (cut_scatter_of(shop.book, MODEL, who).scatter for who in ("Ida", "Ole", "Una"))
    assert ida.making("nut")[0] == pytest.approx(0.07, abs=0.03)
    assert ole.making("nut")[0] == pytest.approx(0.3, abs=0.05)
    assert ida.making("nut")[0] < new.making("nut")[0] < ole.making("nut")[0]
    assert ida.making("nut")[1] < 2.5


@pytest.mark.slow
def test_a_cut_that_went_wrong_is_seen_through_what_is_known_of_the_model():
    """From the shop's own loop: 40 units known, one cut of another size than recorded."""
    model, make = maker("Larch 52")
    library: list[Lesson] = []
    for s in range(40):
        balance(model, make(3000 + s), 3000 + s, library)
    speed = speeds_of(model)
    priors = priors_of(library, model, speed, rig="rig")
    rows: list[CutError] = []
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
        cuts = [
            cut_of(kind=k, id="c", by="Ida", angle_deg=30.0, unbalance_gmm=size)
            for k in ("made", "asked")
        ]
        rows += cut_errors_of(history, story_of(model, [run_of()], cuts), model, now)
    assert len(rows) >= 8  # where the prior leaves the error open, nothing is kept
    assert np.mean([r.share for r in rows]) == pytest.approx(0.3, abs=0.12)
    assert np.mean([r.angle_deg for r in rows]) == pytest.approx(6.0, abs=3.0)
    off = [(r.share - 0.3) / r.share_noise for r in rows]
    assert np.sqrt(np.mean(np.square(off))) < 1.8
    assert rows[0].asked_share == 0 and rows[0].operator == "Ida"


def before(**advice):
    asked = CUT | {"angle_deg": 40.0, "unbalance_gmm": 2.0}
    usual = {"chance_of_pass": 0.8, "computed_chance": 0.7, "cuts": [asked]}
    return [run_of(number=n, **usual | advice) for n in (1, 2, 3)]


def made(**changes):
    return [cut_of(after_run=3, **{"angle_deg": 42.0, "unbalance_gmm": 2.1} | changes)]


def test_a_promise_counts_only_when_the_advice_was_followed():
    (kept,) = chances_of(story_of(MODEL, before(), made()), "pass")
    assert (kept.computed, kept.said, kept.passed, kept.run_number) == (0.7, 0.8, True, 3)
    for runs, cuts in [
        ([], made()),
        (before(trial=True), made()),
        (before(action="stop", cuts=[]), []),
        (before(), made(angle_deg=200.0)),
        (before(), made(unbalance_gmm=9.0)),
        (before(), made(plane="turbine hub")),
        (before(), []),
    ]:
        assert chances_of(story_of(MODEL, runs, cuts), "pass") == ()
