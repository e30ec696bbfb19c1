"""A small cut to learn from, where nothing surer is known: where it is placed, and how large it is."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
from numpy.typing import NDArray

from ...quantities.said import Said
from ...quantities.units import G_N, omega_from_rpm
from ..plane import Plane
from .advice_case import Advice, Prediction, Situation
from .candidates import SMALLER, SMALLER_STEPS, Candidate, Outcome, Tryout
from .response import Estimate
from .seen_effect import GROWS, largest_in, shows

ComplexArray = NDArray[np.complex128]
FloatArray = NDArray[np.float64]

BESIDE_RISE = 1.2
"""The same of a trial cut beside a surer one: what that one gains is not to be lost (a stated choice)."""

LAG_SPREAD_DEG = 60.0
"""Standard deviation of the direction where the way from pickup to sensor is stated; without, any is alike."""

SIZE_SPREAD = 0.7
"""Standard deviation of the logarithm of a guessed size: a factor of two."""

HELD = 0.4
"""Share of a free housing's response that is left where a rig holds it (common practice, no source)."""

LEAST_SHARE = 0.02
"""Of the highest vibration: below it the shape of a piece's own curve is noise."""

TRIAL_EFFECT = 0.35
"""Share of the vibration that a trial cut is meant to change."""


def typical_response(speed_rpm: FloatArray, test_speed_rpm: float) -> FloatArray:
    """Return a guess of a nut's response, g per g·mm, from the test speed alone.

    A cartridge for 150,000 rpm weighs about 3.6 kg and weight goes with the cube of size, size
    inversely with speed (equal tip speed); the housing moves as a free mass, half as much again for
    a plane that overhangs. Common practice, no source; good to a factor of two or so.
    """
    mass_kg = 3.6 * (150_000.0 / test_speed_rpm) ** 3
    omega = omega_from_rpm(1.0) * np.asarray(speed_rpm)
    return 1.5e-6 * omega**2 / (G_N * mass_kg)


def predicted_run(s: Situation, outcome: Outcome) -> Prediction:
    """Return the next run as expected after a candidate."""
    low, middle, high = np.quantile(outcome.amplitude, [0.05, 0.5, 0.95], axis=0)
    return Prediction(s.history.speed_rpm, middle, low, high, s.history.sensor)


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


def trial(
    s: Situation,
    now: Estimate,
    plane: Plane,
    known: tuple[Plane, ...],
    leave: Outcome,
    beside: Outcome | None = None,
) -> Advice:
    """Return a cut to learn from: at the best guess of the heavy spot, small, where it will be seen.

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
    ratio = np.abs(state) / s.limit_g
    if not known:  # a guess is of the first sensor only
        ratio = np.where(s.history.sensor == 0, ratio, 0.0)
    k = int(np.argmax(ratio))
    angle, size, basis = _guess(s, now, plane, known, state, k)
    if plane.name in s.cut_planes():  # too small a cut to learn from bounds what one can do
        size = np.minimum(size, np.sqrt((np.abs(now.response[plane.name]) ** 2).mean(axis=0)))
    # large enough to be told from the error of the cut beside it
    effect = max(
        TRIAL_EFFECT * float(abs(state[k])),
        0.12 * float(s.limit_g[k]),
        2.0 * max((s.scatter.making(c[0])[0] for c in first), default=0.0) * float(abs(moved[k])),
    )
    amount = effect / max(float(size[k]), 1e-12)
    again = plane.name in s.cut_planes()
    amount = float(min(amount, plane.cap_gmm(angle) * (1.0 if again else 0.6)))
    # one more where the last hardly showed must not hurt if that one was not made, or this one points the other way
    before = largest_in(s.history, plane.name)
    blind = before > 0 and not shows(s.history, plane.name)
    if blind:
        amount = min(amount, GROWS * before)
    guessed = now if again else _as_guessed(s, now, plane, state, angle, size, basis)
    # little of what a surer cut gains is risked for a trial beside it
    tryout = Tryout(guessed, s.limit_g, s.scatter, s.guard, s.seed, s.first_ratio)
    most = tryout.most if beside is None else BESIDE_RISE * leave.mean_level
    tries = [tryout, tryout.opposite({plane.name})] if blind else [tryout]
    for _ in range(SMALLER_STEPS):
        candidate = Candidate((*first, (plane.name, angle, amount))).rounded(s.planes)
        outcome, *turned = (t.of(candidate) for t in tries)
        worst = max(o.worst for o in (outcome, *turned))
        if worst <= most:
            break
        amount *= SMALLER
    why = [Said("advice.trial", {"plane": plane.name, "basis": basis})]
    if _points_nowhere(s, basis):
        why = [Said("advice.trial_anywhere", {"plane": plane.name}), Said("advice.say_the_hour")]
    if beside is not None:
        levels = {"then": beside.mean_level, "now": leave.mean_level}
        names = ", ".join(sorted({c[0] for c in first}))
        why.insert(0, Said("advice.beside", {"planes": names, **levels}))
    if worst > leave.mean_level:
        why.append(Said("advice.may_worsen", {"worst": worst}))
    cuts = tuple(candidate.as_cuts(s.planes))
    return Advice(
        action="cut",
        cuts=cuts,
        predicted=predicted_run(s, outcome),
        chance_of_pass=outcome.chance,
        expected_ratio=outcome.mean_level,
        trial=True,
        why=tuple(why),
    )


def _as_guessed(
    s: Situation,
    now: Estimate,
    plane: Plane,
    state: ComplexArray,
    angle_deg: float,
    size: FloatArray,
    basis: Said,
) -> Estimate:
    """Return the estimate with a guess in place of a plane nobody cut: it points there, more or less."""
    rng = np.random.default_rng(s.seed + 1)
    n = now.state.shape[0]
    off = _lags(s, basis, rng, n) * np.exp(SIZE_SPREAD * rng.standard_normal(n))
    towards = state / np.maximum(np.abs(state), 1e-12) * np.exp(-1j * np.deg2rad(angle_deg))
    return replace(now, response={**now.response, plane.name: off[:, None] * size * towards})


def _lags(s: Situation, basis: Said, rng: np.random.Generator, draws: int) -> ComplexArray:
    """Return by how much the guessed direction may be off: anything, where nothing tells it."""
    if _points_nowhere(s, basis):
        return np.asarray(np.exp(1j * np.pi * rng.uniform(-1.0, 1.0, draws)))
    return np.asarray(np.exp(1j * np.deg2rad(LAG_SPREAD_DEG) * rng.standard_normal(draws)))


def _points_nowhere(s: Situation, basis: Said) -> bool:
    """Whether a guess has no direction: it counts from the sensor, and nobody said where that sits."""
    return basis.code == "advice.basis_lag" and s.sensor_lag_deg is None


def guessed_size(s: Situation, state: ComplexArray) -> FloatArray:
    """Return a guess of a response's size, g per g·mm: its level from the test speed, its shape from the piece.

    A piece vibrates by the unbalance it has as it would by any other: its own curve shows where the rig answers
    most. A free housing's response lies above what a rig's mounts and mass leave of it.
    """
    typical = HELD * typical_response(s.history.speed_rpm, s.test_speed_rpm)
    own = np.abs(state)
    own = np.maximum(own, LEAST_SHARE * float(own.max()))
    fast = s.history.speed_rpm > 0.5 * s.test_speed_rpm
    fast = fast if fast.any() else np.ones(fast.size, bool)
    level = np.exp(float(np.log(typical[fast] / np.maximum(own[fast], 1e-12)).mean()))
    return np.asarray(own * level)


OWN_SHARE = 0.8
"""An estimate this large beside its scatter says better than any guess which way the heavy spot lies."""


def _guess(
    s: Situation,
    now: Estimate,
    plane: Plane,
    known: tuple[Plane, ...],
    state: ComplexArray,
    k: int,
) -> tuple[float, FloatArray, Said]:
    """Return an unknown plane's likeliest heavy angle, its guessed size, and what the guess rests on."""
    speed = s.history.speed_rpm
    size = guessed_size(s, state)
    guess = s.guesses.get(plane.name)
    own = now.mean_response[plane.name][k] if plane.name in s.cut_planes() else 0j
    if abs(own) > OWN_SHARE * float(np.std(now.response[plane.name][:, k])):
        heavy = float(np.rad2deg(np.angle(state[k] / own)))
        basis = Said("advice.basis_own", {"plane": plane.name})
    elif guess is not None and _holds(s):
        heavy = float(np.rad2deg(np.angle(state[k] / guess.mean[k])))
        size = np.abs(guess.mean)
        basis = Said("advice.basis_like", {"models": ", ".join(guess.alike)})
    elif known:  # below the first bending mode planes act alike: borrow the known plane's angle
        other = now.mean_response[known[0].name]
        heavy = float(np.rad2deg(np.angle(state[k] / other[k])))
        size = np.abs(other)
        basis = Said("advice.basis_plane", {"plane": known[0].name})
    else:
        first = s.history.sensor == 0  # the lag from the pickup is the first sensor's
        slow = first & (speed >= 0.18 * s.test_speed_rpm) & (speed <= 0.40 * s.test_speed_rpm)
        slow = slow if slow.any() else first & (np.arange(speed.size) < max(3, first.sum() // 4))
        weight = np.abs(state[slow]) / np.maximum(size[slow], 1e-12)
        mean = (state[slow] / np.maximum(np.abs(state[slow]), 1e-12) * weight).sum()
        heavy = float(np.rad2deg(np.angle(mean))) - GUESSED_LAG_DEG - (s.sensor_lag_deg or 0.0)
        basis = Said("advice.basis_lag", {"lag_deg": GUESSED_LAG_DEG})
    angles = plane.angles()
    angle = float(angles[np.argmin(np.abs((angles - heavy + 180.0) % 360.0 - 180.0))])
    return angle, size, basis


GUESSED_LAG_DEG = 45.0
"""Lag of the housing behind an overhung plane's unbalance at 20 to 40 % of test speed: a guess."""
