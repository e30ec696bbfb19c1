"""Where, how deep, and what the next run will look like; or why not to cut.

Every candidate cut is tried on many consistent possibilities of the piece (see `response`), each
with its own error of grinding and its own scatter of the next run. The advice is the candidate with
the highest chance that the next run passes; among those within three points of it, the one with
the least expected highest ratio to the limit.
"""

from __future__ import annotations

from collections.abc import Callable, Iterator
from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray

from ...quantities.said import Said
from ..plane import Plane
from .advice_case import Advice, Alternative, Situation
from .candidates import (
    MOST_RISE,
    WORSE,
    Candidate,
    Choices,
    Outcome,
    Tryout,
    best_candidates,
    held_back,
)
from .doubt import Explanation, check_said, doubtful, explanation_said, explanations, foretold
from .prior import ResponsePrior, wide_prior
from .response import Estimate, estimate
from .seen_effect import seen_once, shows, unproven
from .trial_cut import predicted_run, trial, typical_response

FloatArray = NDArray[np.float64]

KNOWN_SPREAD = 0.8
"""Relative uncertainty of a response up to which cuts are computed from it: the less is known, the smaller."""

WELL_KNOWN = 0.5
"""The same up to which it is known that a plane alone will not do: before that its own next cut tells more."""

SLOW_GAIN = 0.6
"""A cut that leaves no more than this share of the ratio leads on by itself: no other plane is tried."""

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
    rests_on_one : bool
        Whether the best cut would take it far up, were the one cut that it is computed from not as written down;
        without one, whether a cut hardly showed that the next may be so many times of.
    other_units : bool
        Whether other units foretold what the newest cuts would do.
    """

    s: Situation
    now: Estimate
    usable: tuple[Plane, ...]
    known: tuple[Plane, ...]
    choices: Choices
    leave: Outcome
    before: Estimate | None = None
    doubts: tuple[Explanation, ...] = ()
    rests_on_one: bool = False
    other_units: bool = False

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

    def well_known(self, plane: Plane) -> bool:
        """Whether a plane's response is known well enough to say that it alone will not do."""
        return self.now.spread[plane.name] < WELL_KNOWN

    @property
    def looked(self) -> bool:
        """Whether somebody has seen that the newest cuts are there as written down."""
        return all(c.looked or c.knowingly for c in self.s.history.last_cuts)

    @property
    def knowingly(self) -> bool:
        """Whether an inspector lets the work go on in spite of what the newest cuts did."""
        return all(c.knowingly for c in self.s.history.last_cuts)

    @property
    def worse(self) -> bool:
        """Whether the newest cuts made it clearly worse, of planes of which something was known before.

        A first cut to learn from may: that was said of it.
        """
        history, ratio = self.s.history, _ratios(self.s)
        run = history.last_cut_run
        if run is None or self.before is None or not ratio[-1] > WORSE * ratio[run - 1]:
            return False
        return all(_known(self.s, self.before, c.plane) for c in history.last_cuts)

    @property
    def rose(self) -> bool:
        """Whether it now vibrates far more than when nothing had been cut."""
        ratio = _ratios(self.s)
        return bool(self.s.history.cuts) and bool(ratio[-1] > MOST_RISE * ratio[0])

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
        """Whether the known planes are known to be not enough, while another could be tried beside them.

        Two planes learnt at once, neither of them known, would be taken for each other.
        """
        best = self.best
        if best is None or best.limited_by or best.chance >= SURE_CHANCE:
            return False
        well = all(map(self.well_known, self.known))
        slow = best.mean_level > SLOW_GAIN * self.leave.mean_level
        return well and slow and bool(self.learning) and self.s.most_cuts >= 2


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
    known = tuple(p for p in usable if _known(s, now, p.name))
    tryout = Tryout(now, s.limit_g, s.scatter, s.guard, s.seed, s.first_ratio)
    leave = tryout.of(Candidate(()))
    choices = best_candidates(tryout, known, s.most_cuts)
    unsure = unproven(s.history, priors)
    if unsure:
        choices = choices.each(lambda o: held_back(o, tryout, s.planes, unsure))
    once = seen_once(s.history, priors) & {c.plane for c in s.history.last_cuts}
    turned = tryout.opposite(once).of(choices.best.candidate) if choices.best and once else leave
    before = believed_before(s, priors)
    doubts = explanations(s.history, before, s.scatter) if before else ()
    faint = any(not shows(s.history, p) for p in once)
    told = before is not None and foretold(before, s.history.last_cuts)
    rests = (turned.worst > tryout.most if choices.best else faint) or (
        not told and doubtful(doubts)
    )
    return Case(s, now, usable, known, choices, leave, before, doubts, rests, told)


def all_priors(s: Situation) -> dict[str, ResponsePrior]:
    """Return a prior for each plane: other units', or one that says next to nothing."""
    if all(p.name in s.priors for p in s.planes):
        return {p.name: s.priors[p.name] for p in s.planes}
    typical = typical_response(s.history.speed_rpm, s.test_speed_rpm)
    wide = wide_prior(s.history.speed_rpm, typical, s.history.sensor)
    return {p.name: s.priors.get(p.name) or wide for p in s.planes}


def believed_before(s: Situation, priors: dict[str, ResponsePrior]) -> Estimate | None:
    """Return the estimate before the newest cuts; None before any."""
    run = s.history.last_cut_run
    if run is None:
        return None
    return estimate(s.history.before(run), priors, s.scatter, draws=60, seed=s.seed)


def worsened(s: Situation) -> int:
    """Return how many stops with cuts, the last in a row, made it worse."""
    ratio = _ratios(s)
    stops = sorted({c.before_run for c in s.history.cuts}, reverse=True)
    count, then = 0, ratio.size - 1
    for run in stops:  # from the last run before a stop to the last run after it
        if ratio[then] < WORSE * ratio[run - 1]:
            break
        count, then = count + 1, run - 1
    return count


def _ratios(s: Situation) -> FloatArray:
    """Return the highest ratio to the limit of each run."""
    return np.asarray((np.abs(s.history.vectors) / s.limit_g).max(axis=1))


def _known(s: Situation, now: Estimate, plane: str) -> bool:
    """Whether an estimate says enough of a plane to cut there for more than to learn."""
    return now.spread[plane] < KNOWN_SPREAD and _informed(s, plane)


def _informed(s: Situation, plane: str) -> bool:
    """Whether anything at all is known of a plane: from other units, or from its own cuts."""
    return plane in s.priors or plane in s.cut_planes()


def _not_reached(case: Case) -> Advice:
    judged = case.s.judgement
    why = Said("advice.open", {"reason": judged.reason})
    return Advice.spin_again(why, expected_ratio=judged.worst.ratio)


def _stop(leave: Outcome, *why: Said) -> Advice:
    return Advice.stop(*why, chance=leave.chance, expected_ratio=leave.mean_level)


def _held(case: Case, *why: Said) -> Advice:
    return replace(Advice.fix(*why, expected_ratio=case.leave.mean_level), doubts=case.doubts)


def _not_as_recorded(case: Case) -> Advice:
    likeliest = case.doubts[0]
    why = Said(
        "advice.not_as_recorded",
        {
            "chance": likeliest.chance,
            "explanation": explanation_said(likeliest),
            "check": check_said(likeliest),
        },
    )
    return _held(case, why)


def _above_first(case: Case) -> Advice:
    ratio = _ratios(case.s)
    why = Said("advice.above_first", {"times": float(ratio[-1] / ratio[0])})
    return _held(case, why)


def _made_worse(case: Case) -> Advice:
    ratio = _ratios(case.s)
    before = float(ratio[case.s.history.last_cuts[0].before_run - 1])
    why = Said("advice.made_worse", {"before": before, "now": float(ratio[-1])})
    return _held(case, why)


def _mean_decides(case: Case) -> Advice:
    why = Said("advice.mean_decides", {"reason": case.s.judgement.reason})
    return replace(_stop(case.leave, why), action="spin_again")


def _try_another(case: Case) -> Advice:
    faint = [p for p in case.usable if not case.well_known(p)]
    cut = [p for p in faint if p.name in case.s.cut_planes()]
    if case.useful or not cut:
        plane = (*case.unknown, *case.learning, *faint)[0]
    else:  # a cut too small to learn from tells how large the next one there may be
        plane = cut[0]
    beside = case.best if case.useful else None
    return trial(case.s, case.now, plane, case.known, case.leave, beside)


def _passed(case: Case) -> Advice:
    s, leave, best = case.s, case.leave, case.best
    passed = Said("advice.passed", {"reason": s.judgement.reason})
    if best is not None and best.mean_level < 0.85 * leave.mean_level:
        gain = Said("advice.one_more", {"now": leave.mean_level, "then": best.mean_level})
        more = tuple(best.candidate.as_cuts(s.planes))
        return replace(_stop(leave, passed, gain), one_more=more)
    return _stop(leave, passed, Said("advice.no_more"))


def _cut(case: Case) -> Advice:
    s, choices, leave, best = case.s, case.choices, case.leave, case.best
    assert best is not None  # the rule holds only where there is one
    cuts = tuple(best.candidate.as_cuts(s.planes))
    names = sorted({c.plane for c in cuts})
    expected = Said("advice.expected", {"then": best.mean_level, "now": leave.mean_level})
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
        why=(expected, *_sources_of(s, names), *best.limited_by),
        others=others,
    )


def _sources_of(s: Situation, planes: list[str]) -> Iterator[Said]:
    for name in planes:
        own = sum(c.plane == name for c in s.history.cuts)
        prior = s.priors.get(name)
        units = prior.units if prior else 0
        if own or units:
            yield Said("advice.source", {"plane": name, "cuts": own, "units": units})
        if prior and prior.card:
            yield Said("advice.source_card", {"plane": name, "units": prior.card})
        if prior and prior.alike:
            models = ", ".join(prior.alike)
            yield Said("advice.source_like", {"plane": name, "models": models})


RULES = (
    Rule("test speed was not reached", lambda c: c.open and not c.s.reached, _not_reached),
    Rule("it passed", lambda c: c.s.judgement.verdict == "pass", _passed),
    Rule(
        "the last cut is not as recorded",
        lambda c: not c.looked and c.other_units and doubtful(c.doubts),
        _not_as_recorded,
    ),
    Rule(
        "it is far above what it was at first", lambda c: not c.knowingly and c.rose, _above_first
    ),
    Rule(
        "two cuts made it worse",
        lambda c: not c.knowingly and worsened(c.s) >= 2,
        lambda c: Advice.fix(Said("advice.two_worse"), expected_ratio=c.leave.mean_level),
    ),
    Rule("the last cut made it worse", lambda c: not c.looked and c.worse, _made_worse),
    Rule(
        "no material is left",
        lambda c: not c.usable,
        lambda c: _stop(c.leave, Said("advice.used_up")),
    ),
    Rule(
        "all rests on one cut that nobody has looked at",
        lambda c: not c.looked and c.rests_on_one,
        lambda c: _held(c, Said("advice.look_first"), Said("advice.look_where")),
    ),
    Rule("a useful cut will not do alone", lambda c: c.useful and c.short, _try_another),
    Rule("a useful cut", lambda c: c.useful, _cut),
    Rule(
        "only the scatter is between it and a verdict",
        lambda c: c.open and not (c.s.history.repeated() and c.unknown),
        _mean_decides,
    ),
    Rule(
        "a plane that is not known yet",
        lambda c: bool(c.learning) or not all(map(c.well_known, c.usable)),
        _try_another,
    ),
    Rule(
        "nothing left to try", lambda c: True, lambda c: _stop(c.leave, Said("advice.no_cut_helps"))
    ),
)
"""What is advised: the first that holds, from the top."""
