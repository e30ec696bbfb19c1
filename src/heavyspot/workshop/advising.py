"""From the ledger's evidence to the advice, and what a piece teaches the units to come."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from ..balance.advise import Advice, Situation, advise, typical_response
from ..balance.limits import PASS_K, Judgement
from ..balance.plane import Plane
from ..balance.prior import Guess, ResponsePrior, wide_prior
from ..balance.response import Estimate, History, Scatter, estimate
from ..ledger.book import Book
from ..ledger.writing import Row
from ..quantities.arrays import Array
from ..quantities.finding import Finding
from .craft import Craft, as_said
from .model_file import ModelFile
from .past import LEARN_SPREAD, learnt_response
from .reading import ReadResult


@dataclass(frozen=True)
class Evidence:
    """Everything known of a piece at the moment of advising.

    Attributes
    ----------
    priors : dict of plane -> ResponsePrior
        What other units tell.
    guesses : dict of plane -> Guess
        What like models let expect.
    craft : Craft
        How cuts turn out here, and how chances are kept.
    history : History or None
        None when the run gave no curve over the model's range.
    judgement : Judgement or None
    findings : list of Finding
    """

    book: Book
    piece_id: str
    model: ModelFile
    history: History | None
    judgement: Judgement | None
    findings: list[Finding]
    read: ReadResult
    priors: dict[str, ResponsePrior]
    guesses: dict[str, Guess]
    craft: Craft


def advise_on(evidence: Evidence, number: int, made: list[Row]) -> tuple[Advice, Estimate | None]:
    """Return the advice after run `number`, given the cuts `made`, and the estimate behind it."""
    e = evidence
    blocking = next((f for f in e.findings if f.severity == "block"), None)
    if blocking is not None:
        why = f"{blocking.text} {blocking.do}"
        return Advice("fix", (), None, 0.0, 0.0, False, why), None
    if e.history is None or e.judgement is None:
        why = "Nothing could be measured over the model's speed range. Spin to test speed."
        return Advice("spin_again", (), None, 0.0, 0.0, False, why), None
    advice, now = advise_vectors(
        e.history,
        e.model,
        made,
        e.priors,
        e.judgement,
        reached=e.read.highest_rpm >= 0.985 * e.model.test_speed_rpm,
        sensor_lag_deg=e.read.sensor_lag_deg or 0.0,
        seed=number,
        guesses=e.guesses,
        scatter=e.craft.scatter,
    )
    return as_said(advice, e.craft.keeping), now


def advise_vectors(
    history: History,
    model: ModelFile,
    made: list[Row],
    priors: dict[str, ResponsePrior],
    judgement: Judgement,
    *,
    reached: bool = True,
    sensor_lag_deg: float = 0.0,
    seed: int = 0,
    guesses: dict[str, Guess] | None = None,
    scatter: Scatter | None = None,
) -> tuple[Advice, Estimate]:
    """Return the advice on a piece's vectors, and the estimate behind it.

    Parameters
    ----------
    made : list of dict
        Cuts made so far: ``plane``, ``mass_mg``.
    scatter : Scatter, optional
        The model file's when not given.
    """
    scatter = scatter or model.as_scatter()
    return advise(
        Situation(
            history=history,
            planes=planes_of(model, made),
            priors=priors,
            limit_g=model.house_limit().at(history.speed_rpm),
            judgement=judgement,
            reached=reached,
            test_speed_rpm=model.test_speed_rpm,
            scatter=scatter,
            guard=PASS_K * float(np.hypot(scatter.run_share, model.scatter.calibration_share)),
            sensor_lag_deg=sensor_lag_deg,
            most_cuts=model.most_cuts,
            seed=seed,
            guesses=guesses or {},
        )
    )


def planes_of(model: ModelFile, made: list[Row]) -> tuple[Plane, ...]:
    """Return a model's planes with what was taken off them already."""
    return tuple(
        p.as_plane(sum(c["mass_mg"] for c in made if c["plane"] == p.name)) for p in model.plane
    )


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
