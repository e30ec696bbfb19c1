"""Where, how deep, and what the next run will look like; or why not to cut.

Every candidate cut is tried on many consistent possibilities of the piece (see `response`), each
with its own error of grinding and its own scatter of the next run. The advice is the candidate with
the highest chance that the next run passes; among those within three points of it, the one with
the least expected highest ratio to the limit.
"""

from __future__ import annotations

from dataclasses import dataclass, field, replace
from typing import Literal

import numpy as np
from numpy.typing import NDArray

from ..quantities.units import G_N, omega_from_rpm
from .candidates import AdvisedCut, Candidate, Choices, Outcome, best_candidates, try_cuts
from .limits import Judgement
from .plane import Plane
from .prior import Guess, ResponsePrior, wide_prior
from .response import Estimate, History, Scatter, estimate

ComplexArray = NDArray[np.complex128]
FloatArray = NDArray[np.float64]
Action = Literal["cut", "spin_again", "fix", "stop"]

KNOWN_SPREAD = 0.6
"""Relative uncertainty of a response up to which cuts are computed from it."""

TRIAL_EFFECT = 0.35
"""Share of the vibration that a trial cut is meant to change."""

CAPPED_GAIN = 0.985
"""The same for a cut that its depth or the material left holds back."""

SURE_CHANCE = 0.5
"""Below this chance of a pass the known planes are not enough, and another is tried beside them."""

USEFUL_GAIN = 0.92
"""A cut must be expected to bring the highest ratio below this share of today's."""


@dataclass(frozen=True)
class Prediction:
    """The next run as expected: median and the band that holds 90 %."""

    speed_rpm: FloatArray
    amplitude_g: FloatArray
    low_g: FloatArray
    high_g: FloatArray


@dataclass(frozen=True)
class Alternative:
    """Something else that could be done; no cuts means leaving it as it is."""

    cuts: tuple[AdvisedCut, ...]
    chance_of_pass: float
    expected_ratio: float


@dataclass(frozen=True)
class Advice:
    """What to do next.

    Attributes
    ----------
    action : "cut", "spin_again", "fix" or "stop"
    cuts : tuple of AdvisedCut
    predicted : Prediction or None
    chance_of_pass : float
        Chance that the next run is judged a pass, 0 to 1.
    expected_ratio : float
        Expected highest ratio to the limit of the next run.
    trial : bool
        Whether the cut rests on a guess and is meant to learn from.
    why : str
    one_more : tuple of AdvisedCut
        After a pass: cuts that would still lower the curve usefully; empty when none would.
    others : tuple of Alternative
        What else could be done: one cut, several, or none.
    computed_chance : float
        The chance before the shop's own record of kept chances corrected it.
    """

    action: Action
    cuts: tuple[AdvisedCut, ...]
    predicted: Prediction | None
    chance_of_pass: float
    expected_ratio: float
    trial: bool
    why: str
    one_more: tuple[AdvisedCut, ...] = ()
    others: tuple[Alternative, ...] = ()
    computed_chance: float = 0.0


@dataclass(frozen=True)
class Situation:
    """Everything the advice rests on.

    Attributes
    ----------
    history : History
    planes : tuple of Plane
        In the order the shop prefers them.
    priors : dict of plane -> ResponsePrior
        From other units; planes without one get a wide prior.
    guesses : dict of plane -> Guess
        What like models let expect, to place trial cuts by.
    limit_g : ndarray, shape (n,)
        On the history's speeds.
    judgement : Judgement
        Of the last run.
    reached : bool
        Whether the last run reached test speed.
    test_speed_rpm : float
    scatter : Scatter
    guard : float
        Share of the amplitude that a pass must stay clear of the limit by (expanded uncertainty).
    sensor_lag_deg : float
        Angle the rotor turns from the pickup to the sensor.
    most_cuts : int
        1 to 3 cuts before the next run.
    """

    history: History
    planes: tuple[Plane, ...]
    priors: dict[str, ResponsePrior]
    limit_g: FloatArray
    judgement: Judgement
    reached: bool
    test_speed_rpm: float
    scatter: Scatter = field(default_factory=Scatter)
    guard: float = 0.055
    sensor_lag_deg: float = 0.0
    most_cuts: int = 2
    seed: int = 0
    guesses: dict[str, Guess] = field(default_factory=dict)


def typical_response(speed_rpm: FloatArray, test_speed_rpm: float) -> FloatArray:
    """Return a guess of a nut's response, g per g·mm, from the test speed alone.

    A cartridge for 150,000 rpm weighs about 3.6 kg and weight goes with the cube of size, size
    inversely with speed (equal tip speed); the housing moves as a free mass, half as much again for
    a plane that overhangs. Common practice, no source; good to a factor of two or so.
    """
    mass_kg = 3.6 * (150_000.0 / test_speed_rpm) ** 3
    omega = omega_from_rpm(1.0) * np.asarray(speed_rpm)
    return 1.5e-6 * omega**2 / (G_N * mass_kg)


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
    unknown = tuple(p for p in learning if p.name not in _cut_planes(s))
    if useful and best is not None:
        short = best.chance < SURE_CHANCE and not best.limited_by
        if short and learning and s.most_cuts >= 2:
            return _trial(s, now, (unknown or learning)[0], known, leave, best), now
        return _cut(s, now, choices, best, leave), now
    if s.judgement.verdict == "undecided" and not (_repeated(s) and unknown):
        why = (
            f"The verdict is open ({s.judgement.reason}) and no cut is sure to help: "
            "the mean of two runs will decide."
        )
        return replace(_stop(leave, why), action="spin_again"), now
    if unknown:
        return _trial(s, now, unknown[0], known, leave), now
    if learning:
        return _trial(s, now, learning[0], known, leave), now
    floor = "what is left is within the repeatability, or these planes cannot reach it"
    why = f"No cut is expected to lower the curve usefully: {floor}. See what limits the result."
    return _stop(leave, why), now


def _informed(s: Situation, plane: str) -> bool:
    """Whether anything at all is known of a plane: from other units, or from its own cuts."""
    return plane in s.priors or plane in _cut_planes(s)


def _repeated(s: Situation) -> bool:
    """Whether the last run already repeated the one before it, without a cut."""
    last = s.history.vectors.shape[0] - 1
    return last > 0 and not any(c.before_run == last for c in s.history.cuts)


def _cut_planes(s: Situation) -> set[str]:
    return {c.plane for c in s.history.cuts}


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
        "cut", cuts, _predict(s, best), best.chance, best.mean_level, False, why, others=others
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


def _predict(s: Situation, outcome: Outcome) -> Prediction:
    low, middle, high = np.quantile(outcome.amplitude, [0.05, 0.5, 0.95], axis=0)
    return Prediction(s.history.speed_rpm, middle, low, high)


GUESS_MISS = 0.7
"""Share of what cuts did that a guess from like models may miss before it is dropped."""


def _holds(s: Situation) -> bool:
    """Whether what this piece's cuts did is what like models let expect; true before any."""
    vectors = s.history.vectors
    for run in range(1, vectors.shape[0]):
        cuts = [c for c in s.history.cuts if c.before_run == run]
        if not cuts or any(c.plane not in s.guesses for c in cuts):
            continue
        did = vectors[run - 1] - vectors[run]
        told = sum((s.guesses[c.plane].mean * c.removed for c in cuts), np.zeros_like(did))
        if (np.abs(did - told) ** 2).sum() > GUESS_MISS**2 * (np.abs(did) ** 2).sum():
            return False
    return True


def _trial(
    s: Situation,
    now: Estimate,
    plane: Plane,
    known: tuple[Plane, ...],
    leave: Outcome,
    beside: Outcome | None = None,
) -> Advice:
    """A cut to learn from: at the best guess of the heavy spot, small, where it will be seen.

    Parameters
    ----------
    beside : Outcome, optional
        The best cut of the known planes, made before the same run; the trial aims at what it leaves.
    """
    speed = s.history.speed_rpm
    first = beside.candidate.cuts if beside else ()
    moved = np.zeros(speed.size, complex)
    for name, at, much in first:
        moved += now.mean_response[name] * much * np.exp(1j * np.deg2rad(at))
    state = now.mean_state - moved
    k = int(np.argmax(np.abs(state) / s.limit_g))
    angle, size, basis = _guess(s, now, plane, known, state, k)
    # large enough to be told from the error of the cut beside it
    effect = max(
        TRIAL_EFFECT * float(abs(state[k])),
        0.12 * float(s.limit_g[k]),
        2.0 * max((s.scatter.making(c[0])[0] for c in first), default=0.0) * float(abs(moved[k])),
    )
    amount = effect / max(float(size[k]), 1e-12)
    again = sum(c.plane == plane.name for c in s.history.cuts)
    amount *= 2.0**again  # the first one was too small to learn from
    amount = float(min(amount, 0.6 * plane.cap_gmm(angle) if not again else plane.cap_gmm(angle)))
    candidate = Candidate((*first, (plane.name, angle, amount))).rounded(s.planes)
    rng = np.random.default_rng(s.seed + 1)
    n = now.state.shape[0]
    lag = np.exp(1j * np.deg2rad(60.0) * rng.standard_normal(n)) * np.exp(
        0.7 * rng.standard_normal(n)
    )
    towards = state / np.maximum(np.abs(state), 1e-12) * np.exp(-1j * np.deg2rad(angle))
    guessed = replace(now, response={**now.response, plane.name: lag[:, None] * size * towards})
    outcome = try_cuts(candidate, guessed, s.limit_g, s.scatter, s.guard, s.seed)
    why = (
        f"The response of {plane.name} is not known yet: a small cut to learn from, at the likeliest "
        f"heavy spot (a guess: {basis}; ± 60 degrees)."
    )
    if beside is not None:
        names = " and ".join(sorted({c[0] for c in first}))
        why = (
            f"{names} alone brings the highest ratio to {beside.mean_level:.2f} "
            f"(now {leave.mean_level:.2f}). " + why
        )
    if outcome.chance < leave.chance - 0.3:
        why += " It may make the curve worse; the next run tells how to go on."
    cuts = tuple(candidate.as_cuts(s.planes))
    return Advice("cut", cuts, _predict(s, outcome), outcome.chance, outcome.mean_level, True, why)


def _guess(
    s: Situation,
    now: Estimate,
    plane: Plane,
    known: tuple[Plane, ...],
    state: ComplexArray,
    k: int,
) -> tuple[float, FloatArray, str]:
    """Return an unknown plane's likeliest heavy angle, its guessed size, and what the guess rests on."""
    speed = s.history.speed_rpm
    size = typical_response(speed, s.test_speed_rpm)
    guess = s.guesses.get(plane.name)
    if guess is not None and _holds(s):
        heavy = float(np.rad2deg(np.angle(state[k] / guess.mean[k])))
        size = np.abs(guess.mean)
        basis = f"models like it ({', '.join(guess.alike)}) react there"
    elif known:  # below the first bending mode planes act alike: borrow the known plane's angle
        other = now.mean_response[known[0].name]
        heavy = float(np.rad2deg(np.angle(state[k] / other[k])))
        size = np.abs(other)
        basis = f"{known[0].name} reacts there"
    else:
        slow = (speed >= 0.18 * s.test_speed_rpm) & (speed <= 0.40 * s.test_speed_rpm)
        slow = slow if slow.any() else np.arange(speed.size) < max(3, speed.size // 4)
        weight = np.abs(state[slow]) / np.maximum(size[slow], 1e-12)
        mean = (state[slow] / np.maximum(np.abs(state[slow]), 1e-12) * weight).sum()
        heavy = float(np.rad2deg(np.angle(mean))) - GUESSED_LAG_DEG - s.sensor_lag_deg
        basis = f"a housing that lags about {GUESSED_LAG_DEG:.0f} degrees at low speed"
    angles = plane.angles()
    angle = float(angles[np.argmin(np.abs((angles - heavy + 180.0) % 360.0 - 180.0))])
    return angle, size, basis


GUESSED_LAG_DEG = 45.0
"""Lag of the housing behind an overhung plane's unbalance at 20 to 40 % of test speed: a guess."""
