"""From the ledger's evidence to the advice."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from ...balance.cut.advice_case import Advice, Situation
from ...balance.cut.advise import advise
from ...balance.cut.candidates import AdvisedCut
from ...balance.cut.history import History, Scatter
from ...balance.cut.prior import Guess, ResponsePrior
from ...balance.cut.response import Estimate
from ...balance.limits import PASS_K, REACHED, Judgement
from ...balance.plane import Plane
from ...ledger.records import Cut
from ...quantities.finding import Finding, blocking_of, finding_said, remedy_said
from ...quantities.said import Said
from ..model import ModelFile
from ..reading import cut_findings, doubt_findings
from .cut_scatter import as_said
from .evidence import Known

NO_ANGLE = {"reference.no_single_mark", "table.no_angle", "table.sense_unknown"}
"""Findings after which amplitudes, and so the verdict, are right, but no angle is."""


@dataclass(frozen=True)
class Advised:
    """The advice after a run, the estimate behind it, and all findings, those of the cuts included."""

    advice: Advice
    findings: tuple[Finding, ...]
    estimate: Estimate | None = None


def advise_on(e: Known, number: int, made: Sequence[Cut]) -> Advised:
    """Return the advice after run `number`, given the cuts `made`."""
    blocking = blocking_of(e.findings)
    if blocking:
        return Advised(_fix(blocking[0]), e.findings)
    no_angle = next((f for f in e.findings if f.code in NO_ANGLE), None)
    if no_angle is not None and e.judgement is not None:
        return Advised(_without_angle(no_angle, e.judgement), e.findings)
    if e.history is None or e.judgement is None:
        return Advised(Advice.spin_again(Said("advice.nothing_measured")), e.findings)
    advice, now = advise_vectors(
        e.history,
        e.model,
        made,
        e.priors,
        e.judgement,
        reached=e.highest_rpm >= REACHED * e.model.test_speed_rpm,
        sensor_lag_deg=e.sensor_lag_deg,
        seed=number,
        guesses=e.guesses,
        scatter=e.scatter.scatter,
    )
    told = advice.doubts if any(w.code == "advice.not_as_recorded" for w in advice.why) else ()
    doubts = doubt_findings(told) or cut_findings(e.history, now, e.scatter.scatter)
    findings = (*e.findings, *doubts)
    if doubts and advice.action == "cut" and not e.history.repeated():
        again = Advice.spin_again(
            finding_said(doubts[0]),
            Said("advice.repeat_first"),
            expected_ratio=advice.expected_ratio,
        )
        return Advised(again, findings, now)
    return Advised(as_said(advice, e.scatter.keeping), findings, now)


def _fix(finding: Finding, *, expected_ratio: float = 0.0) -> Advice:
    said = finding_said(finding), remedy_said(finding)
    return Advice.fix(*said, expected_ratio=expected_ratio)


def _without_angle(finding: Finding, judgement: Judgement) -> Advice:
    if judgement.verdict == "pass":
        why = Said("advice.passed", {"reason": judgement.reason})
        return Advice.stop(why, expected_ratio=judgement.worst.ratio)
    return _fix(finding, expected_ratio=judgement.worst.ratio)


def advise_vectors(
    history: History,
    model: ModelFile,
    made: Sequence[Cut | AdvisedCut],
    priors: dict[str, ResponsePrior],
    judgement: Judgement,
    *,
    reached: bool = True,
    sensor_lag_deg: float | None = None,
    seed: int = 0,
    guesses: dict[str, Guess] | None = None,
    scatter: Scatter | None = None,
) -> tuple[Advice, Estimate]:
    """Return the advice on a piece's vectors, and the estimate behind it.

    Parameters
    ----------
    made : sequence of Cut
        Cuts made so far.
    scatter : Scatter, optional
        The model file's when not given.
    """
    scatter = scatter or model.as_scatter()
    return advise(
        Situation(
            history=history,
            planes=planes_of(model, made),
            priors=priors,
            limit_g=np.concatenate(
                [model.house_limit(s).at(history.grid_rpm) for s in history.names]
            ),
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


def planes_of(model: ModelFile, made: Sequence[Cut | AdvisedCut]) -> tuple[Plane, ...]:
    """Return a model's planes with what was taken off them already."""
    return tuple(p.as_plane(sum(c.mass_mg for c in made if c.plane == p.name)) for p in model.plane)
