"""What a run after a cut says of the cut: as recorded, or one of the mistakes that people and machines make.

Each hypothesis foretells the next vector; they are compared by likelihood (a normal one, with the scatter of runs,
of cuts and of the response as common errors over speed) and by how often such a thing happens.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass
from functools import cached_property

import numpy as np
from numpy.typing import NDArray

from ...quantities.said import Said
from .history import History, MadeCut, Scatter
from .response import Estimate

ComplexArray = NDArray[np.complex128]

AS_RECORDED = "as_recorded"

HOW_OFTEN = {
    AS_RECORDED: 0.86,
    "not_made": 0.03,
    "twice": 0.01,
    "half": 0.01,
    "half_a_turn": 0.015,
    "mirrored": 0.015,
    "other_plane": 0.015,
    "mark_moved": 0.015,
    "sensor_changed": 0.01,
    "something_moved": 0.02,
}
"""Prior chance of each (stated, not measured: the shop's own record may come to say otherwise)."""

KNOWN = 0.7
"""Relative uncertainty of a response above which it foretells nothing."""

LARGE_REST = 0.4
"""Share of the vector that the cut was to leave, from which on its angle says where the mark is."""

CUT_TAIL, RUN_TAIL = 2.0, 2.0
"""Errors of cuts and runs have longer tails than a normal distribution: by so much wider."""

LEAST_SPREAD = 0.3
"""No response is taken to be known better than this: units of a model differ by more than their library shows."""

INDEPENDENT = 0.2
"""Share of the points that say something of their own: neighbours on a curve agree."""

UNEXPLAINED = 0.06
"""What no model explains, as a share of the largest vector."""

ANYTHING = 3.0
"""Relative uncertainty of a response above which nothing at all is known of it."""

KNOWN_UNITS = 5
"""Other units from which on a response foretells a cut: one known from a small cut on this piece alone does not."""


GUESSED = 1 / 15
"""A guess of an unknown response's size (`trial_cut.HELD`), over what the prior that knows nothing allows."""

SIZES = (0.25, 0.5, 1.0, 2.0, 4.0)
"""Sizes of an unknown response over that guess that are weighed, by `trial_cut.SIZE_SPREAD`: that prior alone, with
its many times the guess, would call whatever is small a cut that was not made."""

SIZE_CHANCES = tuple(np.exp(-0.5 * (np.log(s) / 0.7) ** 2) for s in SIZES)


@dataclass(frozen=True)
class _Effect:
    """What cuts take off, (n,): as believed, and how each possibility differs from that, (n, possibilities).

    `guessed` is the part of planes of which nothing is known.
    """

    mean: ComplexArray
    apart: ComplexArray
    guessed: ComplexArray


@dataclass(frozen=True)
class Explanation:
    """One hypothesis and its chance after the run.

    Attributes
    ----------
    code : str
        A key of `HOW_OFTEN`.
    chance : float
    plane : str
        The plane it really was, for ``other_plane``; else empty.
    angle_deg : float
        By which the mark moved, for ``mark_moved``.
    factor : float
        Of the sensor, for ``sensor_changed``.
    """

    code: str
    chance: float
    plane: str = ""
    angle_deg: float = 0.0
    factor: float = 1.0


def explanations(history: History, before: Estimate, scatter: Scatter) -> tuple[Explanation, ...]:
    """Return what may explain what the newest cuts did, likeliest first; empty where nothing was foretold.

    The newest run tells: one more without a cut asks the same question again.

    Parameters
    ----------
    before : Estimate
        What was believed before the newest cuts: from the runs up to them.
    """
    cuts = history.last_cuts
    if not cuts:
        return ()
    case = _Case(history, before, scatter, cuts)
    found = [case.of(AS_RECORDED, case.effect(lambda c: c.removed))]
    found.append(case.of("not_made", case.effect(lambda c: 0j)))
    found.append(case.of("twice", case.effect(lambda c: 2 * c.removed)))
    found.append(case.of("half", case.effect(lambda c: 0.5 * c.removed)))
    found.append(case.of("half_a_turn", case.effect(lambda c: -c.removed)))
    found.append(case.of("mirrored", case.effect(lambda c: complex(np.conj(c.removed)))))
    found += case.other_planes()
    found += [case.mark_moved(), case.sensor_changed(), case.something_moved()]
    logs = np.array([log for _, log in found])
    chance = np.exp(logs - logs.max())
    chance /= chance.sum()
    told = [
        Explanation(e.code, float(p), e.plane, e.angle_deg, e.factor)
        for (e, _), p in zip(found, chance, strict=True)
    ]
    return tuple(sorted(told, key=lambda e: -e.chance))


def foretold(before: Estimate, cuts: tuple[MadeCut, ...]) -> bool:
    """Whether other units tell what cuts do, so that a doubt is one of the record and not of the response."""
    known = (
        before.units.get(c.plane, 0) >= KNOWN_UNITS and before.spread[c.plane] <= KNOWN
        for c in cuts
    )
    return all(known)


HARMLESS = {AS_RECORDED, "half", "twice"}
"""Explanations under which the next cut, computed from what was seen, still leads the right way."""

SENSOR_FACTOR = 2.5
"""A sensor that reads so many times more or less is a stop."""

MARK_DEG = 60.0
"""A mark that moved by less is not told from the scatter of cuts, and the next run shows it again."""

DOUBTFUL = 0.05
"""Chance of those together under which nothing is ground before somebody has looked."""


def doubtful(found: tuple[Explanation, ...]) -> bool:
    """Whether the last cut cannot have been what is recorded, nor near it."""
    return bool(found) and sum(e.chance for e in found if _harmless(e)) < DOUBTFUL


def _harmless(e: Explanation) -> bool:
    # cuts are computed from what the sensor reads; the level checks look at the rest
    if e.code == "sensor_changed":
        return 1 / SENSOR_FACTOR < e.factor < SENSOR_FACTOR
    if e.code == "mark_moved":
        return abs(e.angle_deg) < MARK_DEG
    return e.code in HARMLESS


def explanation_said(e: Explanation) -> Said:
    """Return what it says happened."""
    return Said(f"doubt.{e.code}", {"plane": e.plane, "angle_deg": e.angle_deg, "factor": e.factor})


def check_said(e: Explanation) -> Said:
    """Return the one look that tells it from the others."""
    return Said(f"doubt_check.{e.code}")


@dataclass(frozen=True)
class _Case:
    history: History
    before: Estimate
    scatter: Scatter
    cuts: tuple[MadeCut, ...]

    @property
    def _last_before(self) -> int:
        return self.cuts[0].before_run - 1

    @property
    def was(self) -> ComplexArray:
        return self.history.vectors[self._last_before]

    @property
    def now(self) -> ComplexArray:
        return self.history.vectors[-1]

    @cached_property
    def foretold(self) -> bool:
        """Whether other units tell what the cuts do; else what is believed of this piece alone says what may be."""
        return foretold(self.before, self.cuts)

    def effect(self, of: Callable[[MadeCut], complex], plane: str = "") -> _Effect:
        """Return what the cuts take off, were each `of` it, and in another plane where one is named."""
        n, draws = self.now.size, 0 if self.foretold else self.before.state.shape[0]
        mean, known, guessed = np.zeros(n, complex), *np.zeros((2, n, draws), complex)
        for c in self.cuts:
            p = plane or c.plane
            mean += self.before.mean_response[p] * of(c)
            if draws:
                off = (self.before.response[p] - self.before.mean_response[p]).T * of(c)
                (known if self._told_of(p) else guessed)[:] += off / np.sqrt(draws)
        return _Effect(mean, known, guessed if guessed.any() else guessed[:, :0])

    def _told_of(self, plane: str) -> bool:
        """Whether anything but the prior that knows nothing tells of a plane."""
        earlier = any(c.plane == plane for c in self.history.cuts if c not in self.cuts)
        return earlier or self.before.spread[plane] < ANYTHING

    def of(
        self,
        code: str,
        effect: _Effect,
        *,
        now: ComplexArray | None = None,
        share: float = 1.0,
        free: float = 0.0,
        about: Explanation | None = None,
    ) -> tuple[Explanation, float]:
        """Return a hypothesis and its log chance: the last vector is the one before less an effect.

        `now` is the last vector as it would be without what the hypothesis says happened to it; `free` what
        else may have happened, as a share of the largest vector.
        """
        now = self.now if now is None else now
        largest = float(np.abs(self.history.vectors).max())
        told = [self.before.spread[c.plane] if self.foretold else 0.0 for c in self.cuts]
        spread = max(LEAST_SPREAD, *told)
        run = RUN_TAIL * np.sqrt(self.scatter.run_variance)
        cut = np.sqrt(max(self.scatter.cut_variance(c.plane) for c in self.cuts))
        # errors common to all speeds: two runs, the cut with the whole response; and the response's shape
        made = effect.mean * np.hypot(CUT_TAIL * cut, spread)
        common = np.concatenate(
            [np.stack([self.was * run, now * run, made], axis=1), effect.apart], axis=1
        )
        sizes = zip(SIZES, SIZE_CHANCES, strict=True) if effect.guessed.size else ((0.0, 1.0),)
        noise = self.history.noise[[self._last_before, -1]] ** 2
        each = (
            2 * noise.sum(axis=0)
            + (UNEXPLAINED * largest) ** 2
            + (0.5 * spread * np.abs(effect.mean)) ** 2
        )
        each = each + (free * largest) ** 2
        off = self.was - effect.mean - now
        logs = []
        for size, chance in sizes:
            columns = np.concatenate([common, size * GUESSED * effect.guessed], axis=1)
            fit = INDEPENDENT * _log_normal(off, each, columns * np.sqrt(INDEPENDENT))
            logs.append(fit + float(np.log(chance)))
        log = float(np.logaddexp.reduce(logs))
        if effect.guessed.size:
            log -= float(np.log(sum(SIZE_CHANCES)))
        return about or Explanation(code, 0.0), log + float(np.log(HOW_OFTEN[code] * share))

    def other_planes(self) -> list[tuple[Explanation, float]]:
        """Return the cuts made in each other plane that is known."""
        mine = {c.plane for c in self.cuts}
        others = [
            p for p in self.before.mean_response if p not in mine and self.before.spread[p] < KNOWN
        ]
        return [
            self.of(
                "other_plane",
                self.effect(lambda c: c.removed, p),
                share=1 / len(others),
                about=Explanation("other_plane", 0.0, plane=p),
            )
            for p in others
        ]

    def mark_moved(self) -> tuple[Explanation, float]:
        """Return the whole vector turned by one angle: the mark, the pickup, or the magnet's leads."""
        effect = self.effect(lambda c: c.removed)
        left_over = self.was - effect.mean
        turn = complex((np.conj(left_over) * self.now).sum())
        angle = float(np.rad2deg(np.angle(turn)))
        back = self.now * np.exp(-1j * np.deg2rad(angle))
        # the angle is fitted: a small one is the scatter of runs, and a small rest points anywhere
        left = float(np.linalg.norm(left_over))
        rest = left / max(float(np.linalg.norm(self.was)), 1e-300)
        share = 0.3 if abs(angle) > 20 and rest > LARGE_REST else 0.003
        about = Explanation("mark_moved", 0.0, angle_deg=angle)
        return self.of("mark_moved", effect, now=back, share=share, about=about)

    def sensor_changed(self) -> tuple[Explanation, float]:
        """Return the whole vector of another size: sensor, gain or mounting."""
        effect = self.effect(lambda c: c.removed)
        left = self.was - effect.mean
        factor = float(
            np.abs((np.conj(left) * self.now).sum()) / max((np.abs(left) ** 2).sum(), 1e-300)
        )
        factor = min(max(factor, 0.05), 20.0)
        share = 0.3 if not 0.75 < factor < 1.33 else 0.01
        about = Explanation("sensor_changed", 0.0, factor=factor)
        return self.of("sensor_changed", effect, now=self.now / factor, share=share, about=about)

    def something_moved(self) -> tuple[Explanation, float]:
        """Return a change that nothing recorded explains: a part slipped, a bow, another machine."""
        return self.of("something_moved", self.effect(lambda c: c.removed), free=0.5)


def _log_normal(off: ComplexArray, each: NDArray[np.float64], common: ComplexArray) -> float:
    """Return the log density of complex normal errors: independent ones, and columns that are common."""
    weighted = common / each[:, None]
    inner = np.eye(common.shape[1]) + common.conj().T @ weighted
    right = weighted.conj().T @ off
    fit = float((np.abs(off) ** 2 / each).sum()) - float(
        (right.conj() @ np.linalg.solve(inner, right)).real
    )
    return -fit - float(np.log(each).sum()) - float(np.linalg.slogdet(inner)[1])
