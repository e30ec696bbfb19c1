"""The advice for a piece whose rig shows amplitudes and no angle: trial cuts first, then the correction."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray

from ....balance.amplitude_only import LEAST_RUNS, Scattered, drawn, next_place
from ....balance.cut.advice_case import Advice, Prediction
from ....balance.cut.candidates import (
    AdvisedCut,
    Candidate,
    Outcome,
    Tryout,
    best_candidates,
)
from ....balance.cut.history import History
from ....balance.cut.response import Estimate
from ....balance.cut.trial_cut import TRIAL_EFFECT, typical_response
from ....balance.limits import PASS_K, Judgement
from ....balance.plane import Plane
from ....quantities.arrays import Array
from ....quantities.errors import BadInput
from ....quantities.said import Said
from ....signal.curve import Curve
from ...model import ModelFile
from ...reading import ReadResult
from ...shop import Workshop
from ..advising import planes_of
from ..past import SensedCurve, history_of, past_runs
from ..story import CartridgeStory

TRIAL_OF_CAP = 0.6
"""Of the most one cut may take off: no trial is larger, as where angles are known."""

GAIN = 0.97
"""A cut is worth its material when it lowers the expected highest ratio below this share of what it is (ours)."""

UNSETTLED = 0.5
"""Relative spread of a response above which another trial is worth more than a correction (ours)."""


@dataclass(frozen=True)
class _Case:
    """A piece's amplitudes, and what was off in all in the plane at each of its runs, g·mm."""

    history: History
    removed: NDArray[np.complex128]
    plane: Plane
    limit_g: Array
    model: ModelFile
    judgement: Judgement


def amplitude_advice(
    shop: Workshop,
    story: CartridgeStory,
    read: ReadResult,
    model: ModelFile,
    judgement: Judgement,
    *,
    seed: int,
) -> Advice | None:
    """Return what to do next with amplitudes alone; None where they are not over the limit, or share no speed.

    Parameters
    ----------
    model : ModelFile
        The piece's, with the scatter of its rig.
    """
    if judgement.verdict == "pass" or (
        judgement.verdict == "undecided" and judgement.reason.code != "verdict.too_near"
    ):
        return None
    case = _case(shop, story, read, model, judgement)
    if case is None:
        return None
    if np.unique(case.removed.round(9)).size < LEAST_RUNS:
        return _trial(case)
    try:
        return _correction(case, seed)
    except BadInput:  # the cuts that were made lie on one line
        return _trial(case)


def _case(
    shop: Workshop,
    story: CartridgeStory,
    read: ReadResult,
    model: ModelFile,
    judgement: Judgement,
) -> _Case | None:
    now = read.curve
    plane = next((p for p in planes_of(model, story.made) if p.left_gmm > 1e-4), None)
    if now is None or plane is None:
        return None
    # what was cut in another plane changed both vector and, for these sums, the piece
    others = max((c.after_run for c in story.made if c.plane != plane.name), default=0)
    curves = [
        SensedCurve(p.number, _amplitudes(p.curves[0]), p.sensors)
        for p in past_runs(shop, story)
        if p.curves and p.number > others and not p.run.result.blocking
    ]
    curves.append(SensedCurve(story.number + 1, _amplitudes(now), read.channels))
    mine = [c for c in story.made if c.plane == plane.name]
    history = history_of(curves, mine, model, least=1)
    if history is None:
        return None
    removed = np.zeros(history.vectors.shape[0], complex)
    for cut in history.cuts:
        removed[cut.before_run :] += cut.removed
    limit = np.concatenate([model.house_limit(s).at(history.grid_rpm) for s in history.names])
    return _Case(history, removed, plane, limit, model, judgement)


def _amplitudes(curve: Curve) -> Curve:
    """Return a curve as its amplitudes alone."""
    still = np.zeros(curve.vector.shape)
    return replace(curve, vector=np.abs(curve.vector).astype(complex), angle_noise=still)


def _trial(case: _Case) -> Advice:
    plane, speed = case.plane, case.history.speed_rpm
    amplitude = np.abs(case.history.vectors[-1])
    k = int(np.argmax(amplitude / case.limit_g))
    typical = float(typical_response(speed[k : k + 1], case.model.test_speed_rpm)[0])
    angles = plane.angles()
    most = min(TRIAL_OF_CAP * plane.cap_gmm(a) for a in angles)
    amount = min(TRIAL_EFFECT * float(amplitude[k]) / typical, most)
    first = case.removed[np.abs(case.removed) > 0][:1]
    if first.size:  # alike to the first: only then do they settle as much as they can
        amount = min(most, float(abs(first[0])))
    angle, much = next_place(case.removed, angles, amount)
    number = np.unique(case.removed.round(9)).size
    why = Said("advice.amplitude_trial", {"number": float(number), "plane": plane.name})
    return _cut(case, Candidate(((plane.name, angle, much),)), (why,), trial=True)


def _cut(
    case: _Case,
    candidate: Candidate,
    why: Sequence[Said],
    *,
    trial: bool,
    outcome: Outcome | None = None,
) -> Advice:
    cuts: list[AdvisedCut] = candidate.rounded((case.plane,)).as_cuts((case.plane,))
    if not cuts:
        return Advice.stop(Said("advice.used_up"), expected_ratio=case.judgement.worst.ratio)
    return Advice(
        action="cut",
        cuts=tuple(cuts),
        predicted=_predicted(case, outcome) if outcome is not None else None,
        chance_of_pass=outcome.chance if outcome is not None else 0.0,
        computed_chance=outcome.chance if outcome is not None else 0.0,
        expected_ratio=outcome.mean_level if outcome is not None else case.judgement.worst.ratio,
        trial=trial,
        why=tuple(why),
    )


def _predicted(case: _Case, outcome: Outcome) -> Prediction:
    low, middle, high = np.quantile(outcome.amplitude, [0.05, 0.5, 0.95], axis=0)
    return Prediction(case.history.speed_rpm, middle, low, high, case.history.sensor)


def _correction(case: _Case, seed: int) -> Advice:
    model, plane = case.model, case.plane
    scatter = model.as_scatter()
    now = _estimate(case, seed)
    guard = PASS_K * float(np.hypot(scatter.run_share, model.scatter.calibration_share))
    tryout = Tryout(now, case.limit_g, scatter, guard, seed)
    leave = tryout.of(Candidate(()))
    choices = best_candidates(tryout, (plane,), model.most_cuts)
    best = choices.best
    if best is None or best.mean_level > GAIN * leave.mean_level:
        if now.spread[plane.name] > UNSETTLED:
            return _trial(case)
        return Advice.stop(
            Said("advice.no_cut_helps"), chance=leave.chance, expected_ratio=leave.mean_level
        )
    runs = float(case.removed.size)
    ratios: dict[str, float | str | Said] = {"then": best.mean_level, "now": leave.mean_level}
    why = (
        Said("advice.amplitude_correct", {"runs": runs, "plane": plane.name}),
        Said("advice.expected", ratios),
        *best.limited_by,
    )
    return _cut(case, best.candidate, why, trial=False, outcome=best)


def _estimate(case: _Case, seed: int) -> Estimate:
    """Return what the amplitudes say, as draws; each point's frame is its own, which no amplitude can tell."""
    s = case.model.as_scatter()
    share, angle_deg = s.cut_error(case.plane.name)
    scattered = Scattered(
        float(np.hypot(s.run_share, s.run_shape)), case.history.noise, share, angle_deg
    )
    state, response = drawn(np.abs(case.history.vectors), case.removed, scattered, seed=seed)
    mean, heavy = response.mean(axis=0), np.abs(case.history.vectors[-1])
    off = np.sqrt((np.abs(response - mean) ** 2).mean(axis=0))
    spread = np.sqrt((heavy**2 * off**2).sum() / max((heavy**2 * np.abs(mean) ** 2).sum(), 1e-300))
    name = case.plane.name
    return Estimate(
        state=state,
        response={name: response},
        mean_state=state.mean(axis=0),
        mean_response={name: mean},
        cut_error=np.zeros(0, complex),
        cut_noise=np.zeros((0, 2)),
        cut_usual=np.zeros((0, 2)),
        spread={name: float(spread)},
        units={name: 0},
    )
