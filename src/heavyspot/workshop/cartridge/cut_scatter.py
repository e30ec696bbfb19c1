"""What the shop's own record teaches of its hands and of our word: cut errors, and chances kept."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace

import numpy as np

from ...balance.cut.advice_case import Advice
from ...balance.cut.calibrated_chance import Keeping, learn_keeping
from ...balance.cut.execution import learn_spread
from ...balance.cut.history import History, Scatter
from ...balance.cut.response import Estimate
from ...ledger.book import Book
from ...ledger.records import ChanceKept, Cut, CutError
from ...quantities.angles import difference_deg
from ..model import ModelFile
from ..reading import KeptCut
from .story import CartridgeStory

TELLING = 0.25
"""A cut's error is kept when the vectors say at least this share of what there is to know of it."""

ON_PURPOSE_SHARE, ON_PURPOSE_DEG = 0.5, 20.0
"""A cut this far from what was asked was meant to be another one; it tells nothing of the hand."""

ASKED_SHARE, ASKED_DEG = 0.02, 1.0
"""What is believed of recorded against asked before any cut: it is written down as asked."""


@dataclass(frozen=True)
class CutScatter:
    """What is known at the moment of advising: how cuts turn out here, and how chances are kept."""

    scatter: Scatter
    keeping: Keeping


def cut_scatter_of(book: Book, model: ModelFile, operator: str) -> CutScatter:
    """Return what the ledger teaches of an operator's cuts on a model's planes, and of its chances."""
    usual = model.as_scatter()
    by_cutter = {c: _spreads(book, c, operator, usual) for c in {p.cutter for p in model.plane}}
    scatter = replace(
        usual,
        recorded={p.name: by_cutter[p.cutter][0] for p in model.plane},
        asked={p.name: by_cutter[p.cutter][1] for p in model.plane},
    )
    kept = [(c.computed, c.passed) for c in book.library.chances()]
    return CutScatter(scatter, learn_keeping(kept))


Pair = tuple[float, float]


def _spreads(book: Book, cutter: str, operator: str, usual: Scatter) -> tuple[Pair, Pair]:
    """Return spread of made against recorded and of recorded against asked: share, degrees.

    The cutter's from everybody's cuts, shrunk to the model file; the operator's shrunk to the cutter's.
    """
    recorded, asked = (usual.cut_share, usual.cut_angle_deg), (0.0, 0.0)
    rows = book.library.cut_errors(cutter)
    if not rows:
        return recorded, asked
    asked = ASKED_SHARE, ASKED_DEG
    own = [r for r in rows if r.operator == operator] if operator else []
    for group in (rows, own):
        recorded = (
            share_spread(group, recorded[0]),
            angle_spread(group, recorded[1]),
        )
        shares = [r.asked_share for r in group if r.asked_share is not None]
        angles = [r.asked_angle_deg for r in group if r.asked_angle_deg is not None]
        asked = (
            learn_spread(shares, [0.0] * len(shares), asked[0]),
            learn_spread(angles, [0.0] * len(angles), asked[1]),
        )
    return recorded, asked


def share_spread(errors: Sequence[CutError], usual: float) -> float:
    """Return the spread of the amounts of cuts, as a share, shrunk to the usual one."""
    return learn_spread([e.share for e in errors], [e.share_noise for e in errors], usual)


def angle_spread(errors: Sequence[CutError], usual_deg: float) -> float:
    """Return the spread of the angles of cuts, degrees, shrunk to the usual one."""
    return learn_spread(
        [e.angle_deg for e in errors], [e.angle_noise_deg for e in errors], usual_deg
    )


def cut_errors_of(
    history: History,
    story: CartridgeStory,
    model: ModelFile,
    now: Estimate,
) -> tuple[CutError, ...]:
    """Return what the run that is about to be kept says of each cut made since the piece's last one."""
    last = history.vectors.shape[0] - 1
    places = [j for j, c in enumerate(history.cuts) if c.before_run == last]
    rows = story.made_after(story.number)
    if len(rows) != len(places):
        return ()  # runs are missing from the history: which cut is which is not sure
    out = []
    for j, row in zip(places, rows, strict=True):
        told = [_seen(now.cut_error[j].real, now.cut_noise[j, 0], now.cut_usual[j, 0]),
                _seen(now.cut_error[j].imag, now.cut_noise[j, 1], now.cut_usual[j, 1])]  # fmt: skip
        if told[0] is None or told[1] is None:
            continue
        share, angle = told[0], tuple(float(np.rad2deg(v)) for v in told[1])
        out.append(
            CutError(
                piece_id=row.piece_id,
                cut_id=row.id,
                operator=row.by,
                cutter=model.find_plane(row.plane).cutter,
                share=share[0],
                share_noise=share[1],
                angle_deg=angle[0],
                angle_noise_deg=angle[1],
                asked_share=off[0] if (off := _against_asked(row, story.asked)) else None,
                asked_angle_deg=off[1] if off else None,
            )
        )
    return tuple(out)


def _seen(mean: float, noise: float, usual: float) -> tuple[float, float] | None:
    """Return an error as the vectors alone show it, and their noise: the prior taken out again."""
    told = 1.0 - min(1.0, (noise / usual) ** 2)
    if told < TELLING:
        return None
    return float(mean / told), float(usual * np.sqrt((1 - told) / told))


def _against_asked(made: Cut, asked: Sequence[Cut]) -> Pair | None:
    mine = [a for a in asked if (a.after_run, a.plane) == (made.after_run, made.plane)]
    return _deviation(made, mine[0]) if len(mine) == 1 else None


def _deviation(made: Cut, asked: Cut | KeptCut) -> Pair | None:
    """Return by how much a cut differs from what was asked, share and degrees; None when on purpose."""
    share = made.unbalance_gmm / asked.unbalance_gmm - 1
    angle = difference_deg(made.angle_deg, asked.angle_deg)
    if abs(share) > ON_PURPOSE_SHARE or abs(angle) > ON_PURPOSE_DEG:
        return None
    return float(share), float(angle)


def chances_of(story: CartridgeStory, verdict: str) -> tuple[ChanceKept, ...]:
    """Return how the last run's chance was kept by the one about to be kept, when its advice was followed.

    Trial cuts promise nothing.
    """
    before = story.last
    if before is None:
        return ()
    advice = before.result.advice
    if advice.action != "cut" or advice.trial or advice.chance_of_pass is None:
        return ()
    cuts = story.made_after(before.number)
    wanted = {c.plane: c for c in advice.cuts}
    if len(cuts) != len(wanted) or any(c.plane not in wanted for c in cuts):
        return ()
    if any(_deviation(c, wanted[c.plane]) is None for c in cuts):
        return ()
    computed = advice.computed_chance
    return (
        ChanceKept(
            piece_id=story.piece.id,
            run_number=before.number,
            computed=advice.chance_of_pass if computed is None else computed,
            said=advice.chance_of_pass,
            passed=verdict == "pass",
        ),
    )


def as_said(advice: Advice, keeping: Keeping) -> Advice:
    """Return the advice with the chances that the ledger's own record stands for."""
    return replace(
        advice,
        chance_of_pass=keeping.said(advice.chance_of_pass),
        computed_chance=advice.chance_of_pass,
        others=tuple(
            replace(o, chance_of_pass=keeping.said(o.chance_of_pass)) for o in advice.others
        ),
    )
