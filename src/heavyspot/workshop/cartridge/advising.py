"""From the ledger's evidence to the advice."""

from __future__ import annotations

import numpy as np

from ...balance.cut.advice_case import Advice, Situation
from ...balance.cut.advise import advise
from ...balance.cut.prior import Guess, ResponsePrior
from ...balance.cut.response import Estimate, History, Scatter
from ...balance.limits import PASS_K, Judgement
from ...balance.plane import Plane
from ...ledger.store.entries import Row
from .cut_scatter import as_said
from .evidence import Evidence
from .judging import blocking_of
from .model_file import ModelFile
from .run_findings import cut_findings

NO_ANGLE = {"reference.no_single_mark"}
"""Findings after which amplitudes, and so the verdict, are right, but no angle is."""


def advise_on(evidence: Evidence, number: int, made: list[Row]) -> tuple[Advice, Estimate | None]:
    """Return the advice after run `number`, given the cuts `made`, and the estimate behind it."""
    e = evidence
    blocking = blocking_of(e.findings)
    if blocking is not None:
        why = f"{blocking.text} {blocking.do}"
        return Advice("fix", (), None, 0.0, 0.0, False, why), None
    if e.history is None or e.judgement is None:
        why = "Nothing could be measured over the model's speed range. Spin to test speed."
        return Advice("spin_again", (), None, 0.0, 0.0, False, why), None
    no_angle = next((f for f in e.findings if f.code in NO_ANGLE), None)
    if no_angle is not None:
        passed = e.judgement.verdict == "pass"
        why = f"Passed: {e.judgement.reason}." if passed else f"{no_angle.text} {no_angle.do}"
        ratio = e.judgement.worst.ratio
        return Advice("stop" if passed else "fix", (), None, 0.0, ratio, False, why), None
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
    doubts = cut_findings(e.history, now, e.craft.scatter)
    e.findings.extend(doubts)
    if doubts and advice.action == "cut" and not e.history.repeated():
        why = (
            f"{doubts[0].text} One more run without a cut is worth more than a cut now: it tells a wrong "
            "entry from a part that moved, and takes nothing off."
        )
        return Advice("spin_again", (), None, 0.0, advice.expected_ratio, False, why), now
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
