"""What a piece's run teaches: responses for the units to come, errors of cuts, chances kept."""

from __future__ import annotations

from collections.abc import Iterable

import numpy as np

from ...balance.cut.history import History
from ...balance.cut.prior import wide_prior
from ...balance.cut.response import estimate
from ...balance.cut.trial_cut import typical_response
from ...ledger.records import Learnt, LearntResponse, Run
from ...quantities.arrays import Array
from ...quantities.finding import Finding
from ..model import WITHDRAWN, ModelFile, learnt_response
from .advising import Advised
from .cut_scatter import chances_of, cut_errors_of
from .evidence import Evidence, Known
from .past import LEARN_SPREAD
from .story import CartridgeStory, KeptRun


def learnt_from(e: Evidence, advised: Advised, story: CartridgeStory, run: Run) -> Learnt:
    """Return what the run that is about to be kept, `run`, teaches."""
    chances = chances_of(story, run.verdict)
    now = advised.estimate
    if e.history is None or now is None:
        return Learnt(chances=chances)
    errors = cut_errors_of(e.history, story, e.model, now)
    doubted = _doubted(advised.findings) or any(_stands(r, story) for r in story.runs)
    responses = () if doubted or not e.teaches else _responses(e.history, e.model, run)
    return Learnt(responses, errors, chances)


OF_CUTS = ("cut.not_as_recorded", "cut.doubtful")
"""Findings which say that a cut was not what is recorded."""


def learnt_anew(e: Known, advised: Advised, run: Run, taught: Iterable[str]) -> Learnt:
    """Return what a piece teaches after its record was amended, in place of what it `taught` of planes before."""
    assert e.history is not None  # there is a curve, or nothing is advised anew
    told = () if _doubted(advised.findings) else _responses(e.history, e.model, run)
    mine = {r.plane for r in told}
    nothing = [
        _response(
            plane, WITHDRAWN, np.zeros(e.history.speed_rpm.size, complex), e.history, e.model, run
        )
        for plane in taught
        if plane not in mine
    ]
    return Learnt((*told, *nothing))


def _stands(run: KeptRun, story: CartridgeStory) -> bool:
    """Whether a run's doubt of the cuts before it stands: nobody has amended them since."""
    return _doubted(run.result.findings) and not any(
        c.replaces and c.id in story.knowingly and c.after_run < run.number for c in story.made
    )


def _doubted(findings: Iterable[Finding]) -> bool:
    return any(f.code in OF_CUTS for f in findings)


def _responses(history: History, model: ModelFile, run: Run) -> tuple[LearntResponse, ...]:
    """Return what this piece now tells of its planes.

    Estimated from its own runs alone: what came from other units must not come back to them.
    """
    if not history.cuts:
        return ()
    return tuple(
        _response(plane, spread, response, history, model, run)
        for plane, spread, response in learn_from(history, model)
    )


def _response(
    plane: str, spread: float, response: Array, history: History, model: ModelFile, run: Run
) -> LearntResponse:
    return LearntResponse(
        model=model.name,
        rig=run.rig,
        plane=plane,
        piece_id=run.piece_id,
        run_number=run.number,
        spread=spread,
        vector=learnt_response(history.speed_rpm, response, model, history.names),
    )


def learn_from(history: History, model: ModelFile) -> list[tuple[str, float, Array]]:
    """Return plane, spread and response of each plane that a piece's own runs and cuts tell of."""
    planes = sorted({c.plane for c in history.cuts})
    typical = typical_response(history.speed_rpm, model.test_speed_rpm)
    wide = wide_prior(history.speed_rpm, typical, history.sensor)
    own = estimate(history, dict.fromkeys(planes, wide), model.as_scatter(), draws=60)
    return [
        (plane, own.spread[plane], own.mean_response[plane])
        for plane in planes
        if own.spread[plane] < LEARN_SPREAD
    ]
