"""Where, how deep, and what the next run will look like; or why not to cut.

Every candidate cut is tried on many consistent possibilities of the piece (see `response`), each
with its own error of grinding and its own scatter of the next run. The advice is the candidate with
the highest chance that the next run passes; among those within three points of it, the one with
the least expected highest ratio to the limit.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass, replace

import numpy as np

from ...quantities.said import in_words
from ..plane import Plane
from .advice_case import Advice, Alternative, Situation
from .candidates import Candidate, Choices, Outcome, best_candidates, try_cuts
from .doubt import Explanation, check_said, doubtful, explanation_said, explanations
from .prior import ResponsePrior, wide_prior
from .response import Estimate, estimate
from .trial_cut import predicted_run, trial, typical_response

KNOWN_SPREAD = 0.6
"""Relative uncertainty of a response up to which cuts are computed from it."""

CAPPED_GAIN = 0.985
"""The same for a cut that its depth or the material left holds back."""

SURE_CHANCE = 0.5
"""Below this chance of a pass the known planes are not enough, and another is tried beside them."""

USEFUL_GAIN = 0.92
"""A cut must be expected to bring the highest ratio below this share of today's."""


@dataclass(frozen=True)
class Case:
    """A situation with what follows from it: what the rules look at.

    Attributes
    ----------
    usable : tuple of Plane
        Planes with material left.
    known, learning : tuple of Plane
        Usable planes whose response is known well enough to compute a cut from, and the others.
    unknown : tuple of Plane
        Of `learning`, those never cut on this piece.
    choices : Choices
        The best cuts of the known planes.
    leave : Outcome
        What the next run would be with nothing done.
    doubts : tuple of Explanation
        What may explain the last run, likeliest first; empty where nothing was foretold.
    """

    s: Situation
    now: Estimate
    usable: tuple[Plane, ...]
    known: tuple[Plane, ...]
    choices: Choices
    leave: Outcome
    doubts: tuple[Explanation, ...] = ()

    @property
    def best(self) -> Outcome | None:
        """The best cut of the known planes, or None."""
        return self.choices.best

    @property
    def learning(self) -> tuple[Plane, ...]:
        """Usable planes that are not known yet."""
        return tuple(p for p in self.usable if p not in self.known)

    @property
    def unknown(self) -> tuple[Plane, ...]:
        """Of those, the ones never cut on this piece."""
        return tuple(p for p in self.learning if p.name not in self.s.cut_planes())

    @property
    def open(self) -> bool:
        """Whether the last run's verdict is undecided."""
        return self.s.judgement.verdict == "undecided"

    @property
    def useful(self) -> bool:
        """Whether the best cut is expected to help.

        One held back by depth is one of several to come: it need only lead the right way.
        """
        if self.best is None:
            return False
        gain = CAPPED_GAIN if self.best.limited_by else USEFUL_GAIN
        lower = self.best.mean_level < gain * self.leave.mean_level
        return lower or self.best.chance > self.leave.chance + 0.1

    @property
    def short(self) -> bool:
        """Whether the known planes alone are not likely to reach a pass, while another could be tried."""
        best = self.best
        small = best is not None and best.chance < SURE_CHANCE and not best.limited_by
        return small and bool(self.learning) and self.s.most_cuts >= 2


@dataclass(frozen=True)
class Rule:
    """When it holds, what it says."""

    name: str
    holds: Callable[[Case], bool]
    advice: Callable[[Case], Advice]


def advise(situation: Situation) -> tuple[Advice, Estimate]:
    """Return the advice and the estimate it rests on: the first of `RULES` that holds speaks."""
    case = case_of(situation)
    return next(r for r in RULES if r.holds(case)).advice(case), case.now


def case_of(s: Situation) -> Case:
    """Return what follows from a situation."""
    priors = all_priors(s)
    now = estimate(s.history, priors, s.scatter, seed=s.seed)
    usable = tuple(p for p in s.planes if p.left_gmm > 1e-4)
    known = tuple(p for p in usable if now.spread[p.name] < KNOWN_SPREAD and _informed(s, p.name))
    leave = try_cuts(Candidate(()), now, s.limit_g, s.scatter, s.guard, s.seed)
    choices = best_candidates(now, known, s.limit_g, s.scatter, s.guard, s.most_cuts, s.seed)
    return Case(s, now, usable, known, choices, leave, explained(s, priors))


def all_priors(s: Situation) -> dict[str, ResponsePrior]:
    """Return a prior for each plane: other units', or one that says next to nothing."""
    if all(p.name in s.priors for p in s.planes):
        return {p.name: s.priors[p.name] for p in s.planes}
    typical = typical_response(s.history.speed_rpm, s.test_speed_rpm)
    wide = wide_prior(s.history.speed_rpm, typical, s.history.sensor)
    return {p.name: s.priors.get(p.name) or wide for p in s.planes}


def explained(s: Situation, priors: dict[str, ResponsePrior]) -> tuple[Explanation, ...]:
    """Return what may explain the last run, against what was believed before it; empty where nothing was."""
    history = s.history
    last = history.vectors.shape[0] - 1
    if not any(c.before_run == last for c in history.cuts):
        return ()
    before = estimate(history.before_last(), priors, s.scatter, draws=60, seed=s.seed)
    return explanations(history, before, s.scatter)


def worsened(s: Situation) -> int:
    """Return how many of the last cuts in a row made the highest ratio rise by more than a twentieth."""
    history = s.history
    ratio = (np.abs(history.vectors) / s.limit_g).max(axis=1)
    count = 0
    for run in range(history.vectors.shape[0] - 1, 0, -1):
        if not any(c.before_run == run for c in history.cuts):
            continue
        if ratio[run] < 1.05 * ratio[run - 1]:
            break
        count += 1
    return count


def _informed(s: Situation, plane: str) -> bool:
    """Whether anything at all is known of a plane: from other units, or from its own cuts."""
    return plane in s.priors or plane in s.cut_planes()


def _not_reached(case: Case) -> Advice:
    judged = case.s.judgement
    why = f"The verdict is open: {in_words(judged.reason)}."
    return Advice.spin_again(why, expected_ratio=judged.worst.ratio)


def _stop(leave: Outcome, why: str) -> Advice:
    return Advice.stop(why, chance=leave.chance, expected_ratio=leave.mean_level)


def _not_as_recorded(case: Case) -> Advice:
    likeliest = case.doubts[0]
    return replace(
        Advice.fix(
            f"What the last cut did does not fit its record ({100 * likeliest.chance:.0f} % for: "
            f"{in_words(explanation_said(likeliest))}). {in_words(check_said(likeliest))} Amend what was wrong and "
            "spin again; nothing is ground before.",
            expected_ratio=case.leave.mean_level,
        ),
        doubts=case.doubts,
    )


def _two_worse(case: Case) -> Advice:
    return Advice.fix(
        "The last two cuts each made it worse. Nothing more is ground before it is known why: compare the "
        "cuts on the piece with their record (angle, side of the mark, plane), look whether mark, sensor and "
        "nut still sit, then spin again.",
        expected_ratio=case.leave.mean_level,
    )


def _used_up(case: Case) -> Advice:
    return _stop(
        case.leave,
        "The material budget of every plane is used up: another cut is not allowed.",
    )


def _no_cut_helps(case: Case) -> Advice:
    floor = "what is left is within the repeatability, or these planes cannot reach it"
    why = f"No cut is expected to lower the curve usefully: {floor}. See what limits the result."
    return _stop(case.leave, why)


def _mean_decides(case: Case) -> Advice:
    why = (
        f"The verdict is open ({in_words(case.s.judgement.reason)}) and no cut is sure to help: "
        "the mean of two runs will decide."
    )
    return replace(_stop(case.leave, why), action="spin_again")


def _try_another(case: Case) -> Advice:
    plane = (case.unknown or case.learning)[0]
    beside = case.best if case.useful else None
    return trial(case.s, case.now, plane, case.known, case.leave, beside)


def _passed(case: Case) -> Advice:
    s, leave, best = case.s, case.leave, case.best
    text = f"Passed: {in_words(s.judgement.reason)}."
    if best is not None and best.mean_level < 0.85 * leave.mean_level:
        text += (
            f" One more cut is expected to lower the highest ratio from {leave.mean_level:.2f} "
            f"to {best.mean_level:.2f}."
        )
        more = tuple(best.candidate.as_cuts(s.planes))
        return replace(_stop(leave, text), one_more=more)
    return _stop(leave, text + " Another cut would gain nothing useful.")


def _cut(case: Case) -> Advice:
    s, choices, leave, best = case.s, case.choices, case.leave, case.best
    assert best is not None  # the rule holds only where there is one
    cuts = tuple(best.candidate.as_cuts(s.planes))
    names = sorted({c.plane for c in cuts})
    source = _source_of(s, names)
    why = f"Expected highest ratio to the limit {best.mean_level:.2f} (now {leave.mean_level:.2f}); {source}."
    if best.limited_by:
        why += f" Limited by {best.limited_by}."
    others = tuple(
        Alternative(tuple(o.candidate.as_cuts(s.planes)), o.chance, o.mean_level)
        for o in (choices.one, choices.several, leave)
        if o is not None and o.candidate != best.candidate
    )
    return Advice(
        action="cut",
        cuts=cuts,
        predicted=predicted_run(s, best),
        chance_of_pass=best.chance,
        expected_ratio=best.mean_level,
        trial=False,
        why=why,
        others=others,
    )


def _source_of(s: Situation, planes: list[str]) -> str:
    parts = []
    for name in planes:
        own = sum(c.plane == name for c in s.history.cuts)
        units = s.priors[name].units if name in s.priors else 0
        said = []
        if own:
            said.append(f"{own} cut{'s' if own > 1 else ''} on this piece")
        if units:
            said.append(f"{units} other unit{'s' if units > 1 else ''} of the model")
        like = s.priors[name].alike if name in s.priors else ()
        if like:
            said.append(f"models like it ({', '.join(like)})")
        parts.append(f"response of {name} from " + " and ".join(said))
    return "; ".join(parts)


RULES = (
    Rule("test speed was not reached", lambda c: c.open and not c.s.reached, _not_reached),
    Rule("it passed", lambda c: c.s.judgement.verdict == "pass", _passed),
    Rule("the last cut is not as recorded", lambda c: doubtful(c.doubts), _not_as_recorded),
    Rule(
        "two cuts made it worse",
        lambda c: worsened(c.s) >= 2 and not c.s.history.repeated(),  # a repeat says: looked at
        _two_worse,
    ),
    Rule("no material is left", lambda c: not c.usable, _used_up),
    Rule("a useful cut will not do alone", lambda c: c.useful and c.short, _try_another),
    Rule("a useful cut", lambda c: c.useful, _cut),
    Rule(
        "only the scatter is between it and a verdict",
        lambda c: c.open and not (c.s.history.repeated() and c.unknown),
        _mean_decides,
    ),
    Rule("a plane nobody knows yet", lambda c: bool(c.learning), _try_another),
    Rule("nothing left to try", lambda c: True, _no_cut_helps),
)
"""What is advised: the first that holds, from the top."""
