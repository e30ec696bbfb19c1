"""Where, how deep, and what the next run will look like; or why not to cut.

Every candidate cut is tried on many consistent possibilities of the piece (see `response`), each
with its own error of grinding and its own scatter of the next run. The advice is the candidate with
the highest chance that the next run passes; among those within three points of it, the one with
the least expected highest ratio to the limit.
"""

from __future__ import annotations

from dataclasses import replace

from .advice_case import Advice, Alternative, Situation
from .candidates import Candidate, Choices, Outcome, best_candidates, try_cuts
from .prior import wide_prior
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


def advise(situation: Situation) -> tuple[Advice, Estimate]:
    """Return the advice and the estimate it rests on."""
    s = situation
    typical = typical_response(s.history.speed_rpm, s.test_speed_rpm)
    priors = {
        p.name: s.priors.get(p.name) or wide_prior(s.history.speed_rpm, typical) for p in s.planes
    }
    now = estimate(s.history, priors, s.scatter, seed=s.seed)
    if s.judgement.verdict == "undecided" and not s.reached:
        why = f"The verdict is open: {s.judgement.reason}."
        return Advice("spin_again", (), None, 0.0, s.judgement.worst.ratio, False, why), now
    usable = tuple(p for p in s.planes if p.left_gmm > 1e-4)
    known = tuple(p for p in usable if now.spread[p.name] < KNOWN_SPREAD and _informed(s, p.name))
    leave = try_cuts(Candidate(()), now, s.limit_g, s.scatter, s.guard, s.seed)
    choices = best_candidates(now, known, s.limit_g, s.scatter, s.guard, s.most_cuts, s.seed)
    best = choices.best
    if s.judgement.verdict == "pass":
        return _passed(s, leave, best), now
    if not usable:
        why = "The material budget of every plane is used up: another cut is not allowed."
        return _stop(leave, why), now
    useful = best is not None and (
        # a cut held back by depth is one of several to come: it need only lead the right way
        best.mean_level < (CAPPED_GAIN if best.limited_by else USEFUL_GAIN) * leave.mean_level
        or best.chance > leave.chance + 0.1
    )
    learning = tuple(p for p in usable if p not in known)
    unknown = tuple(p for p in learning if p.name not in s.cut_planes())
    if useful and best is not None:
        short = best.chance < SURE_CHANCE and not best.limited_by
        if short and learning and s.most_cuts >= 2:
            return trial(s, now, (unknown or learning)[0], known, leave, best), now
        return _cut(s, now, choices, best, leave), now
    if s.judgement.verdict == "undecided" and not (s.history.repeated() and unknown):
        why = (
            f"The verdict is open ({s.judgement.reason}) and no cut is sure to help: "
            "the mean of two runs will decide."
        )
        return replace(_stop(leave, why), action="spin_again"), now
    if unknown:
        return trial(s, now, unknown[0], known, leave), now
    if learning:
        return trial(s, now, learning[0], known, leave), now
    floor = "what is left is within the repeatability, or these planes cannot reach it"
    why = f"No cut is expected to lower the curve usefully: {floor}. See what limits the result."
    return _stop(leave, why), now


def _informed(s: Situation, plane: str) -> bool:
    """Whether anything at all is known of a plane: from other units, or from its own cuts."""
    return plane in s.priors or plane in s.cut_planes()


def _stop(leave: Outcome, why: str) -> Advice:
    return Advice("stop", (), None, leave.chance, leave.mean_level, False, why)


def _passed(s: Situation, leave: Outcome, best: Outcome | None) -> Advice:
    text = f"Passed: {s.judgement.reason}."
    if best is not None and best.mean_level < 0.85 * leave.mean_level:
        text += (
            f" One more cut is expected to lower the highest ratio from {leave.mean_level:.2f} "
            f"to {best.mean_level:.2f}."
        )
        more = tuple(best.candidate.as_cuts(s.planes))
        return replace(_stop(leave, text), one_more=more)
    return _stop(leave, text + " Another cut would gain nothing useful.")


def _cut(s: Situation, now: Estimate, choices: Choices, best: Outcome, leave: Outcome) -> Advice:
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
        "cut", cuts, predicted_run(s, best), best.chance, best.mean_level, False, why, others=others
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
