"""Candidate cuts, and what each would do over all possibilities still open."""

from __future__ import annotations

from collections.abc import Callable, Container
from dataclasses import dataclass, field, replace
from functools import cached_property

import numpy as np
from numpy.typing import NDArray

from ...quantities.errors import BadInput
from ...quantities.said import Said
from ..influence import solve_min_max
from ..plane import ANGLE_STEP_DEG, Plane
from .history import Scatter
from .minmax import best_cuts
from .response import Estimate

ComplexArray = NDArray[np.complex128]
FloatArray = NDArray[np.float64]

DEPTH_STEP_MM = 0.01
"""Step of an advised depth: what a caliper reads (common practice, no source)."""

MOST_TRIED = 8
"""Cuts a candidate may have (a cost)."""

FINALISTS = 24
"""Candidates that are tried on all draws (a cost)."""

SCREENING_DRAWS = 40
"""Draws that choose the finalists (a cost)."""

WORSE = 1.10
"""A next run with a highest ratio over this times today's counts as made worse."""

WORST = 0.95
"""Share of the possibilities that what is said to be the worst holds."""

MOST_RISE = 1.5
"""No cut is advised whose worst is above so many times what is there now, or was in the piece's first run (stated:
what is felt as a step up)."""

LEAST_RISE = 1.05
"""What is left of that to a cut where the first run was far quieter: none would be no cut at all."""

SMALLER, SMALLER_STEPS = 0.75, 14
"""A cut whose worst is above `MOST_RISE` is made smaller by this, so often at most (to a fiftieth)."""

MOST_WORSE = 0.10
"""Candidates with a higher chance of making it worse are not advised while others are left."""


@dataclass(frozen=True)
class AdvisedCut:
    """One cut to make."""

    plane: str
    angle_deg: float
    mass_mg: float
    unbalance_gmm: float
    depth_mm: float


@dataclass(frozen=True)
class Candidate:
    """Cuts to try: (plane, angle in degrees, unbalance in g·mm) each."""

    cuts: tuple[tuple[str, float, float], ...]

    def rounded(self, planes: tuple[Plane, ...]) -> Candidate:
        """Return the cuts at depths a technician can read off: hundredths of a millimetre."""
        out = []
        for name, angle, amount in self.cuts:
            depth, plane = _depth(name, angle, amount, planes)
            offset = plane.corner_offset_deg(angle)
            out.append((name, angle, plane.cutter.removed(depth, offset).unbalance_gmm))
        return Candidate(tuple(c for c in out if c[2] > 0))

    def as_cuts(self, planes: tuple[Plane, ...]) -> list[AdvisedCut]:
        """Return the cuts with mass and depth."""
        out = []
        for name, angle, amount in self.cuts:
            depth, plane = _depth(name, angle, amount, planes)
            removed = plane.cutter.removed(depth, plane.corner_offset_deg(angle))
            out.append(AdvisedCut(name, angle, removed.mass_mg, removed.unbalance_gmm, depth))
        return out


def _depth(
    name: str, angle: float, amount: float, planes: tuple[Plane, ...]
) -> tuple[float, Plane]:
    plane = next(p for p in planes if p.name == name)
    offset = plane.corner_offset_deg(angle)
    most = plane.cutter.largest_unbalance(offset, plane.max_depth_mm)
    depth = plane.cutter.depth_for(min(amount, most), offset)
    steps = max(1, round(depth / DEPTH_STEP_MM))
    if steps * DEPTH_STEP_MM > plane.max_depth_mm + 1e-9:
        steps -= 1
    return round(steps * DEPTH_STEP_MM, 4), plane


@dataclass(frozen=True)
class Outcome:
    """What a candidate leads to.

    Attributes
    ----------
    chance : float
        Share of possibilities in which the next run is judged a pass.
    mean_level : float
        Mean of the highest ratio to the limit.
    worse : float
        Share in which the highest ratio rises by a tenth or more.
    worst : float
        Highest ratio to the limit that 95 of 100 possibilities stay below.
    amplitude : ndarray, shape (draws, n)
        The next run's amplitude in each possibility, g.
    limited_by : tuple of Said
        What held its cuts back; empty where nothing did.
    """

    candidate: Candidate
    chance: float
    mean_level: float
    worse: float
    worst: float
    amplitude: FloatArray = field(repr=False)
    limited_by: tuple[Said, ...] = ()


@dataclass(frozen=True)
class Choices:
    """The cuts to choose from; None where there is none.

    Attributes
    ----------
    best : Outcome or None
        Which of the two others is advised.
    one, several : Outcome or None
        The best single cut, and the best set of more.
    """

    best: Outcome | None = None
    one: Outcome | None = None
    several: Outcome | None = None

    def each(self, change: Callable[[Outcome], Outcome]) -> Choices:
        """Return them with every outcome changed."""
        one, several = (o and change(o) for o in (self.one, self.several))
        return Choices(several if self.best is self.several else one, one, several)


@dataclass(frozen=True)
class Tryout:
    """Tries candidates over all draws; the same seed gives every candidate the same errors.

    Attributes
    ----------
    limit_g : ndarray, shape (n,)
    guard : float
        Share of its amplitude by which a run has to be under the limit to pass.
    first_ratio : float
        Highest ratio to the limit of the piece's first run: what later cuts may rise to is counted from there.
    """

    now: Estimate
    limit_g: FloatArray
    scatter: Scatter
    guard: float
    seed: int = 0
    first_ratio: float = np.inf

    @cached_property
    def most(self) -> float:
        """The highest ratio that the plausible worst of a cut may reach."""
        here = float(self.before.mean())
        return max(MOST_RISE * min(here, self.first_ratio), LEAST_RISE * here)

    @cached_property
    def before(self) -> FloatArray:
        """The highest ratio to the limit as it is, shape (draws,)."""
        level: FloatArray = (np.abs(self.now.state) / self.limit_g).max(axis=1)
        return level

    @cached_property
    def _errors(self) -> FloatArray:
        """Standard normal numbers: the run's, then size and place of each cut."""
        shape = (1 + 2 * MOST_TRIED, self.now.state.shape[0])
        return np.random.default_rng([self.seed, 5]).standard_normal(shape)

    def of(self, candidate: Candidate) -> Outcome:
        """Return what a candidate leads to."""
        amplitude = self._amplitude(candidate)
        level = (amplitude / self.limit_g).max(axis=1)
        return Outcome(
            candidate,
            self._chance(level),
            float(level.mean()),
            float(np.mean(level > WORSE * self.before)),
            float(np.quantile(level, WORST)),
            amplitude,
        )

    def opposite(self, planes: Container[str]) -> Tryout:
        """Return it where these planes answer the other way."""
        response = {p: -r if p in planes else r for p, r in self.now.response.items()}
        return replace(self, now=replace(self.now, response=response))

    def seen(self, candidate: Candidate) -> tuple[float, float]:
        """Return mean level and chance alone: what candidates are sifted by."""
        level = (self._amplitude(candidate) / self.limit_g).max(axis=1)
        return float(level.mean()), self._chance(level)

    def _chance(self, level: FloatArray) -> float:
        return float(np.mean(level * (1 + self.guard) <= 1.0))

    def _amplitude(self, candidate: Candidate) -> FloatArray:
        errors = iter(self._errors)
        run_share = float(np.hypot(self.scatter.run_share, self.scatter.run_shape))
        run = 1.0 + run_share * next(errors)
        after: ComplexArray = self.now.state
        for plane, angle, amount in candidate.cuts:
            share, angle_deg = self.scatter.making(plane)
            size = 1.0 + share * next(errors)
            turn = np.deg2rad(angle + angle_deg * next(errors))
            made = amount * size * np.exp(1j * turn)
            after = after - self.now.response[plane] * made[:, None]
        amplitude: FloatArray = np.abs(after) * run[:, None]
        return amplitude


def best_candidates(tryout: Tryout, planes: tuple[Plane, ...], most_cuts: int) -> Choices:
    """Return the best of: one cut in any of `planes`, two in one, one in each of two."""
    if not planes:
        return Choices()
    now, limit_g = tryout.now, tryout.limit_g
    singles: list[Candidate] = []
    several: list[Candidate] = []
    limits: dict[str, Said | None] = {}
    for plane in planes:
        in_one, in_more, limited = _in_plane(plane, now, limit_g, most_cuts)
        singles += in_one
        several += in_more
        limits[plane.name] = limited
    if most_cuts >= 2 and len(planes) >= 2:
        several += _in_two_planes(planes, now, limit_g)

    sifting = replace(tryout, now=now.first(SCREENING_DRAWS))
    most = tryout.most

    def best_of(candidates: list[Candidate]) -> Outcome | None:
        rounded = [c.rounded(planes) for c in candidates]
        if len(rounded) > 2 * FINALISTS:  # most are far from the best: a few draws show it
            seen = [sifting.seen(c) for c in rounded]
            lowest = sorted(range(len(seen)), key=lambda i: seen[i][0])
            surest = sorted(lowest, key=lambda i: -seen[i][1])[: FINALISTS // 2]
            chosen = dict.fromkeys([*lowest[:FINALISTS], *surest])
            rounded = [rounded[i] for i in chosen]
        return _choose([o for o in map(tryout.of, rounded) if o.worst <= most])

    def with_limit(o: Outcome | None) -> Outcome | None:
        if o is None or not o.candidate.cuts:
            return None
        planes_cut = sorted({c[0] for c in o.candidate.cuts})
        return replace(o, limited_by=tuple(w for p in planes_cut if (w := limits[p]) is not None))

    one, two = with_limit(best_of(singles)), with_limit(best_of(several))
    if one is None or (
        two is not None
        and two.worse <= max(MOST_WORSE, one.worse)
        and (two.chance > one.chance + 0.10 or two.mean_level < _worth(one) * one.mean_level)
    ):
        return Choices(two, one, two)
    return Choices(one, one, two)


def held_back(
    outcome: Outcome, tryout: Tryout, planes: tuple[Plane, ...], unproven: Container[str]
) -> Outcome:
    """Return the candidate, smaller where its worst is too much if unproven planes answer the other way."""
    turned = tryout.opposite(unproven)
    candidate = outcome.candidate
    for _ in range(SMALLER_STEPS):
        if turned.of(candidate).worst <= tryout.most:
            break
        smaller = tuple((p, angle, SMALLER * amount) for p, angle, amount in candidate.cuts)
        candidate = Candidate(smaller).rounded(planes)
    if candidate == outcome.candidate:
        return outcome
    return replace(tryout.of(candidate), limited_by=(*outcome.limited_by, Said("advice.held_back")))


def _worth(best: Outcome) -> float:
    """Share of one cut's level that two must reach: far from a pass, a run costs more than a cut."""
    return 0.95 if best.chance < 0.3 else 0.85


def _choose(outcomes: list[Outcome]) -> Outcome | None:
    outcomes = [o for o in outcomes if o.candidate.cuts]
    if not outcomes:
        return None
    safe = [o for o in outcomes if o.worse <= MOST_WORSE] or [min(outcomes, key=lambda o: o.worse)]
    top = max(o.chance for o in safe)
    return min((o for o in safe if o.chance >= top - 0.03), key=lambda o: o.mean_level)


def _in_plane(
    plane: Plane, now: Estimate, limit_g: FloatArray, most_cuts: int
) -> tuple[list[Candidate], list[Candidate], Said | None]:
    """Return single cuts round the best one, pairs of cuts in this plane, and what caps them."""
    angles = plane.angles()
    caps = np.array([plane.cap_gmm(float(a)) for a in angles])
    response = now.mean_response[plane.name]
    free = best_cuts(
        now.mean_state, response, limit_g, angles_deg=angles, cap=1e9, budget=1e9, most=2
    )
    if not free.amounts:
        return [], [], None
    total = complex(
        sum(
            m * np.exp(1j * np.deg2rad(a))
            for a, m in zip(free.angles_deg, free.amounts, strict=True)
        )
    )
    size, heavy = abs(total), float(np.rad2deg(np.angle(total)))
    apart: FloatArray = np.abs((angles - heavy + 180.0) % 360.0 - 180.0)
    near = np.argsort(apart)[: int(2 * 35 / ANGLE_STEP_DEG)]
    near = near[apart[near] <= max(35.0, float(apart.min()) + 1e-9)]
    singles = [
        Candidate(((plane.name, float(angles[i]), float(min(share * size, caps[i]))),))
        for i in near
        for share in (0.35, 0.5, 0.65, 0.75, 0.85, 0.95, 1.05, 1.15)
        if share * size <= caps[i] or share == 0.35
    ]
    singles += [
        Candidate(((plane.name, float(angles[i]), float(caps[i])),)) for i in near if caps[i] < size
    ]
    limited = None
    cap = float(caps[near[0]])
    if size > cap:
        by_depth = plane.cutter.largest_unbalance(0.0, plane.max_depth_mm)
        kind = "depth" if cap >= by_depth * 0.999 else "material"
        limited = Said(f"advice.limited_{kind}", {"plane": plane.name})
    several = []
    if most_cuts >= 2 and size > 0.9 * cap:
        for share in (0.7, 0.85, 1.0):
            pair = best_cuts(
                now.mean_state * share,
                response,
                limit_g,
                angles_deg=angles,
                cap=float(caps.min()),
                budget=plane.left_gmm,
            )
            made = zip(pair.angles_deg, pair.amounts, strict=True)
            several.append(Candidate(tuple((plane.name, a, m) for a, m in made)))
    return singles, several, limited


def _in_two_planes(
    planes: tuple[Plane, ...], now: Estimate, limit_g: FloatArray
) -> list[Candidate]:
    """Return one cut in each of the first two planes: min-max of both together, and shares of it."""
    first, second = planes[:2]
    H = np.stack([now.mean_response[first.name], now.mean_response[second.name]], axis=1)
    try:
        solution = solve_min_max(H, now.mean_state, limit_g)
    except BadInput:
        return []
    if solution.warning:  # near-alike planes: the split is not to be trusted
        return []
    out = []
    for share in (0.6, 0.8, 1.0):
        cuts = []
        for plane, u in zip((first, second), solution.unbalance * share, strict=True):
            angles = plane.angles()
            heavy = np.rad2deg(np.angle(u))
            angle = float(angles[np.argmin(np.abs((angles - heavy + 180.0) % 360.0 - 180.0))])
            cuts.append((plane.name, angle, float(min(abs(u), plane.cap_gmm(angle)))))
        out.append(Candidate(tuple(cuts)))
    return out
