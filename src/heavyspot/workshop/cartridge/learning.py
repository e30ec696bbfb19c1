"""What a piece's run teaches: responses for the units to come, errors of cuts, chances kept."""

from __future__ import annotations

from collections.abc import Iterable

from ...balance.cut.prior import wide_prior
from ...balance.cut.response import History, estimate
from ...balance.cut.trial_cut import typical_response
from ...ledger.records import Learnt, LearntResponse, Run
from ...quantities.arrays import Array
from ...quantities.finding import Finding
from ..model import ModelFile, learnt_response
from .advising import Advised
from .cut_scatter import chances_of, cut_errors_of
from .evidence import Evidence
from .past import LEARN_SPREAD
from .story import CartridgeStory


def learnt_from(e: Evidence, advised: Advised, story: CartridgeStory, run: Run) -> Learnt:
    """Return what the run that is about to be kept, `run`, teaches."""
    chances = chances_of(story, run.verdict)
    now = advised.estimate
    if e.history is None or now is None:
        return Learnt(chances=chances)
    errors = cut_errors_of(e.history, story, e.model, now)
    doubted = _doubted(advised.findings) or any(_doubted(r.result.findings) for r in story.runs)
    responses = () if doubted else _responses(e.history, e.model, run)
    return Learnt(responses, errors, chances)


def _doubted(findings: Iterable[Finding]) -> bool:
    """Whether a run said that a cut was not what is recorded: nothing is learnt from that piece any more."""
    return any(f.code in ("cut.not_as_recorded", "cut.doubtful") for f in findings)


def _responses(history: History, model: ModelFile, run: Run) -> tuple[LearntResponse, ...]:
    """Return what this piece now tells of its planes.

    Estimated from its own runs alone: what came from other units must not come back to them.
    """
    if not history.cuts:
        return ()
    return tuple(
        LearntResponse(
            model=model.name,
            rig=run.rig,
            plane=plane,
            piece_id=run.piece_id,
            run_number=run.number,
            spread=spread,
            vector=learnt_response(history.speed_rpm, response, model, history.names),
        )
        for plane, spread, response in learn_from(history, model)
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
