"""The closed loop on vectors: adviser, rule of thumb, one-speed coefficient, oracle; any rig.

The technicians of the comparison are written from the trade's habit: the rule of thumb grinds where
the vector at the worst speed points with the shop's usual lag, half of what would cancel it (common
practice, no source); the one-speed influence coefficient is the classic single-plane method (ISO
21940-11 and any handbook) at the worst speed.
"""

from __future__ import annotations

from dataclasses import dataclass, field, replace
from typing import Protocol

import numpy as np

from heavyspot.balance.cut.candidates import AdvisedCut
from heavyspot.balance.cut.history import History, MadeCut
from heavyspot.balance.limits import PASS_K, Limit, amplitude_uncertainty, judge
from heavyspot.ledger.records.cartridge import Cut
from heavyspot.workshop.cartridge.advising import advise_vectors
from heavyspot.workshop.cartridge.learning import learn_from
from heavyspot.workshop.cartridge.past import GRID_SHARES
from heavyspot.workshop.model.model_file import ModelFile
from heavyspot.workshop.model.other_units import Lesson, priors_of

LIMIT_G = 0.5
MOST_RUNS = 6


def model_of(name, test_speed_rpm, wheel_mm):
    k = wheel_mm / 52.0
    return ModelFile.model_validate({
        "name": name, "rotation": "clockwise",
        "rated_speed_rpm": 1.15 * test_speed_rpm, "test_speed_rpm": test_speed_rpm,
        "plane": [
            {"name": "nut", "radius_mm": 6 * k, "max_depth_mm": 1.2 * k, "budget_mg": 2000 * k**3},
            {"name": "turbine hub", "radius_mm": 9 * k, "material": "inconel 713c",
             "max_depth_mm": 1.0 * k, "budget_mg": 2500 * k**3},
        ],
    })  # fmt: skip


class Unit(Protocol):
    """A cartridge of any simulator."""

    def plane_response(self, plane: str, speed_rpm: np.ndarray) -> np.ndarray:
        """g per g·mm."""

    def vector(self, speed_rpm: np.ndarray) -> np.ndarray:
        """g."""

    def ground(self, plane: str, angle_deg: float, unbalance_gmm: float) -> Unit:
        """The same unit with so much taken off."""


@dataclass
class Rig:
    """The unit on the rig, and everything that does not repeat."""

    unit: Unit
    speed_rpm: np.ndarray
    rng: np.random.Generator
    cut_share: float = 0.15
    cut_angle_deg: float = 4.0

    def spin(self):
        run = (1 + 0.025 * self.rng.standard_normal()) * np.exp(
            1j * np.deg2rad(2.0) * self.rng.standard_normal()
        )
        noise = 0.002 * (self.rng.standard_normal((2, self.speed_rpm.size)))
        return self.unit.vector(self.speed_rpm) * run + noise[0] + 1j * noise[1]

    def grind(self, plane, angle, amount):
        self.unit = self.unit.ground(
            plane,
            angle + self.cut_angle_deg * self.rng.standard_normal(),
            amount * (1 + self.cut_share * self.rng.standard_normal()),
        )

    def true_peak(self):
        fine = np.linspace(self.speed_rpm[0], self.speed_rpm[-1], 600)
        return float(np.abs(self.unit.vector(fine)).max())


@dataclass
class Told:
    """How one unit went."""

    runs: int
    over_at_first: bool
    false_pass: bool
    worse: int
    cuts: int
    mass: float
    chances: list = field(default_factory=list)  # (computed, happened)
    steps: list = field(default_factory=list)  # (ratio to the limit, advice) of each run


def speeds_of(model):
    grid = GRID_SHARES * model.test_speed_rpm
    return grid[grid >= model.from_rpm - 1.0]


def verdict_of(model, speed, vector):
    scatter = model.scatter
    noise = np.full(speed.size, 0.002)
    u = amplitude_uncertainty(
        np.abs(vector), noise, repeat_share=scatter.run_share,
        calibration_share=scatter.calibration_share,
    )  # fmt: skip
    return judge(
        speed, np.abs(vector), u, Limit("house", (0.0,), (LIMIT_G,)),
        from_rpm=model.from_rpm, to_rpm=model.test_speed_rpm, step_rpm=float(speed[1] - speed[0]), pass_k=PASS_K,
    )  # fmt: skip


def balance(model, unit, seed, library, *, learn=True):
    """Balance one unit with the adviser; `library` grows when `learn`."""
    speed = speeds_of(model)
    rig = Rig(unit, speed, np.random.default_rng([seed, 88]))
    vectors: list[np.ndarray] = []
    cuts: list[MadeCut] = []
    made: list[Cut | AdvisedCut] = []
    told = Told(7, rig.true_peak() > LIMIT_G, False, 0, 0, 0.0)
    computed = None
    for run in range(1, MOST_RUNS + 1):
        vectors.append(rig.spin())
        judgement = verdict_of(model, speed, vectors[-1])
        if computed is not None:
            told.chances.append((computed, judgement.verdict == "pass"))
        noise = np.full((len(vectors), speed.size), 0.002)
        history = History(speed, np.stack(vectors), noise, tuple(cuts))
        priors = priors_of(library, model, speed, rig="rig")
        advice, _ = advise_vectors(history, model, made, priors, judgement, seed=seed * 10 + run)
        if (
            advice.action == "fix" and history.last_cuts
        ):  # somebody looks: it is there as written down
            cuts = [replace(c, looked=c.looked or c in history.last_cuts) for c in cuts]
            history = replace(history, cuts=tuple(cuts))
            advice, _ = advise_vectors(
                history, model, made, priors, judgement, seed=seed * 10 + run
            )
        told.steps.append((judgement.worst.ratio, advice))
        if judgement.verdict == "pass":
            told.runs, told.false_pass = run, rig.true_peak() > LIMIT_G
        else:
            computed = None if advice.trial or advice.action != "cut" else advice.chance_of_pass
            before = rig.true_peak()
            for c in advice.cuts:
                rig.grind(c.plane, c.angle_deg, c.unbalance_gmm)
                removed = c.unbalance_gmm * np.exp(1j * np.deg2rad(c.angle_deg))
                cuts.append(MadeCut(run, c.plane, complex(removed)))
                made.append(c)
            told.cuts += len(advice.cuts)
            told.mass += sum(c.mass_mg for c in advice.cuts)
            told.worse += bool(advice.cuts) and rig.true_peak() > 1.1 * before
        if judgement.verdict == "pass":
            break
    if learn and cuts and len(vectors) > 1:
        kept = tuple(c for c in cuts if c.before_run < len(vectors))
        noise = np.full((len(vectors), speed.size), 0.002)
        history = History(speed, np.stack(vectors), noise, kept)
        for plane, spread, response in learn_from(history, model):
            library.append(
                Lesson(plane, "rig", str(seed), spread, speed / model.test_speed_rpm, response)
            )
    return told


def rule_of_thumb(model, unit, seed, lag_deg, response_size):
    """Half of what would cancel the worst speed's vector, where the shop's usual lag says."""
    speed = speeds_of(model)
    rig = Rig(unit, speed, np.random.default_rng([seed, 88]))
    return _simple(
        model,
        rig,
        speed,
        lambda v, k, past: (
            np.rad2deg(np.angle(v[k])) - lag_deg[k],
            0.5 * abs(v[k]) / response_size[k],
        ),
    )


def one_speed(model, unit, seed, lag_deg, response_size):
    """The classic single-plane influence coefficient at the worst speed, after a trial cut."""
    speed = speeds_of(model)
    rig = Rig(unit, speed, np.random.default_rng([seed, 88]))

    def choose(v, k, past):
        if not past:
            return np.rad2deg(np.angle(v[k])) - lag_deg[k], 0.5 * abs(v[k]) / response_size[k]
        old, removed = past[-1]
        alpha = -(v[k] - old[k]) / removed
        u = v[k] / alpha
        return np.rad2deg(np.angle(u)), abs(u)

    return _simple(model, rig, speed, choose)


def oracle(model, unit, seed):
    """Knows the nut's true response; cuts the nut only, at the min-max angle and amount."""
    from heavyspot.balance.influence import solve_min_max

    speed = speeds_of(model)
    rig = Rig(unit, speed, np.random.default_rng([seed, 88]))

    def choose(v, k, past):
        H = rig.unit.plane_response("nut", speed)[:, None]
        u = solve_min_max(H, v, np.full(speed.size, LIMIT_G)).unbalance[0]
        return np.rad2deg(np.angle(u)), abs(u)

    return _simple(model, rig, speed, choose)


def both_planes(model, unit, seed):
    """Knows both planes' true responses, and may cut both: what can be had at all."""
    from heavyspot.balance.influence import solve_min_max

    speed = speeds_of(model)
    rig = Rig(unit, speed, np.random.default_rng([seed, 88]))
    told = Told(7, rig.true_peak() > LIMIT_G, False, 0, 0, 0.0)
    planes = [p.as_plane() for p in model.plane]
    left = [p.left_gmm for p in planes]
    for run in range(1, MOST_RUNS + 1):
        v = rig.spin()
        if verdict_of(model, speed, v).verdict == "pass":
            told.runs = run
            return told
        H = np.stack([rig.unit.plane_response(p.name, speed) for p in planes], axis=1)
        us = solve_min_max(H, v, np.full(speed.size, LIMIT_G)).unbalance
        for i, (p, u) in enumerate(zip(planes, us, strict=True)):
            amount = min(abs(u), p.cap_gmm(0.0), left[i])
            left[i] -= amount
            rig.grind(p.name, float(np.rad2deg(np.angle(u))), amount)
            told.cuts += 1
    return told


def _simple(model, rig, speed, choose):
    told = Told(7, rig.true_peak() > LIMIT_G, False, 0, 0, 0.0)
    nut = model.plane[0].as_plane()
    past: list[tuple[np.ndarray, complex]] = []
    used = 0.0
    for run in range(1, MOST_RUNS + 1):
        v = rig.spin()
        if verdict_of(model, speed, v).verdict == "pass":
            told.runs, told.false_pass = run, rig.true_peak() > LIMIT_G
            return told
        angle, amount = choose(v, int(np.argmax(np.abs(v))), past)
        amount = min(amount, nut.cap_gmm(0.0) - 0.0 if nut.budget_mg > used else 0.0)
        before = rig.true_peak()
        rig.grind("nut", angle, amount)
        used += amount / nut.cutter.radius_mm * 1000
        told.cuts += 1
        told.worse += rig.true_peak() > 1.1 * before
        past.append((v, amount * np.exp(1j * np.deg2rad(angle))))
    return told


def figures(told):
    """Return the table's cells over units that started over the limit."""
    over = [t for t in told if t.over_at_first]
    runs = np.array([t.runs for t in over])
    return {
        "units": len(over),
        "median": float(np.median(runs)),
        "p90": float(np.percentile(runs, 90)),
        "within six": float(np.mean(runs <= 6)),
        "worse cuts": sum(t.worse for t in over) / max(1, sum(t.cuts for t in over)),
        "worse units": float(np.mean([t.worse > 0 for t in over])),
        "false": sum(t.false_pass for t in told),
    }
