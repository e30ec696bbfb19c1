"""What a piece's run teaches: responses for the units to come, errors of cuts, chances kept."""

from __future__ import annotations

from ...balance.cut.prior import wide_prior
from ...balance.cut.response import Estimate, History, estimate
from ...balance.cut.trial_cut import typical_response
from ...ledger.entries.learnt import Learnt
from ...ledger.store.entries import Row
from ...quantities.arrays import Array
from .cut_scatter import cut_error_rows, promise_rows
from .evidence import Evidence
from .model_file import ModelFile
from .past import LEARN_SPREAD, PastRun, learnt_response


def learnt_from(
    e: Evidence, now: Estimate | None, past: list[PastRun], made: list[Row], entry: Row
) -> Learnt:
    """Return what the run that is about to be kept, `entry`, teaches."""
    before = past[-1].row if past else None
    promises = promise_rows(before, made, e.piece_id, entry["verdict"])
    if e.history is None or now is None:
        return Learnt(promises=promises)
    number, asked = entry["number"], e.book.cuts(e.piece_id, "asked")
    errors = cut_error_rows(e.history, made, asked, e.model, now, number)
    return Learnt(learnt_rows(e, now, number, entry["rig"]), errors, promises)


def learnt_rows(evidence: Evidence, now: Estimate | None, number: int, rig: str) -> list[Row]:
    """Return what this piece now tells of its planes, as rows of the ledger.

    Estimated from its own runs alone: what came from other units must not come back to them.
    """
    history, model = evidence.history, evidence.model
    if history is None or now is None or not history.cuts:
        return []
    if any(f.code == "cut.not_as_recorded" for f in evidence.findings):
        return []
    return [
        {
            "model": model.name,
            "rig": rig,
            "plane": plane,
            "piece_id": evidence.piece_id,
            "run_number": number,
            "spread": spread,
            "vector": learnt_response(history.speed_rpm, response, model),
        }
        for plane, spread, response in learn_from(history, model)
    ]


def learn_from(history: History, model: ModelFile) -> list[tuple[str, float, Array]]:
    """Return plane, spread and response of each plane that a piece's own runs and cuts tell of."""
    planes = sorted({c.plane for c in history.cuts})
    wide = wide_prior(history.speed_rpm, typical_response(history.speed_rpm, model.test_speed_rpm))
    own = estimate(history, dict.fromkeys(planes, wide), model.as_scatter(), draws=60)
    return [
        (plane, own.spread[plane], own.mean_response[plane])
        for plane in planes
        if own.spread[plane] < LEARN_SPREAD
    ]
