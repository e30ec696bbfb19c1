"""python -m loop.strange UNITS [MODEL ...]: the closed loop on rigs that share nothing with ours.

From tests/. ``--sensors 1``, ``--workers 2``, ``--world 3`` (other models), ``--rig modes``,
``--findings`` (what the program finds between runs may stop a cut).
"""

from __future__ import annotations

import argparse
from concurrent.futures import ProcessPoolExecutor
from dataclasses import dataclass, field, replace
from functools import partial
from types import SimpleNamespace
from typing import cast

import numpy as np
from loop import strange_modes, strange_shaft
from loop.loop import verdict_of
from loop.strange_people import Bench, Choose, oracle, technicians
from loop.strange_world import LIMIT_G, PLANES, Unit

from heavyspot.balance.cut.calibrated_chance import learn_keeping
from heavyspot.balance.cut.candidates import AdvisedCut
from heavyspot.balance.cut.history import History, MadeCut
from heavyspot.balance.limits import as_first_run, deciding
from heavyspot.ledger.records.cartridge import Cut
from heavyspot.workshop.cartridge.advising import Advised, advise_on, advise_vectors
from heavyspot.workshop.cartridge.cut_scatter import CutScatter
from heavyspot.workshop.cartridge.evidence import Evidence
from heavyspot.workshop.cartridge.learning import learn_from
from heavyspot.workshop.insight.gains import reliability
from heavyspot.workshop.model.model_file import ModelFile
from heavyspot.workshop.model.other_units import Lesson, priors_of
from heavyspot.workshop.reading import change_findings, shape_findings

RIGS = {"modes": strange_modes.worlds, "shaft": strange_shaft.worlds}
NAMES = ("compressor end", "turbine end")
MOST_RUNS = 6
WARM_UP = 20
SHELF = 100
TOLD_NOISE_G = 0.003
OURS = ("own", "library")


@dataclass
class Told:
    """How one unit went.

    `trace` holds, of each run, ratio to the limit, action, cuts (plane, angle, g·mm) and chance
    (nan of a trial cut); `codes` what was found wrong, where findings are asked for.
    """

    runs: int
    over_at_first: bool
    first_ratio: float
    highest: float = 1.0  # true peak over the first
    worse: bool = False
    stopped: bool = False
    false_pass: bool = False
    trace: list[tuple[float, str, tuple[tuple[str, float, float], ...], float]] = field(
        default_factory=list
    )
    codes: set[str] = field(default_factory=set)


@dataclass
class Stand:
    """The unit on the rig, with its dice: the same for whoever balances it.

    `spin` is what is read, `grind` what is done, `entry` what is written down of it.
    """

    unit: Unit
    seed: int
    sensors: int
    told: Told
    first: float
    runs: int = 0
    cuts: int = 0
    careless: bool = False  # says "it is there" without looking
    log: list[tuple[int, str, complex]] = field(default_factory=list)

    @classmethod
    def of(cls, unit, seed, sensors):
        unit = unit.copy()
        first = unit.true_peak(sensors)
        return cls(unit, seed, sensors, Told(7, first > LIMIT_G, first / LIMIT_G), first)

    def spin(self):
        self.runs += 1
        v = self.unit.spin(np.random.default_rng([self.seed, 1, self.runs]), self.runs)
        return v[: self.sensors]

    def grind(self, plane, removed):
        self.cuts += 1
        self.log.append((self.runs, plane, removed))
        rng = np.random.default_rng([self.seed, 2, self.cuts])
        self.unit.ground(plane, float(np.rad2deg(np.angle(removed))), abs(removed), rng)

    def entry(self, plane, removed) -> list[tuple[str, complex]]:
        return [(plane, complex(removed))]

    def answer(self, cuts: list[MadeCut]) -> list[MadeCut]:
        """Return the cuts after somebody looked at the newest: what is seen on the piece is written down."""
        last = max(c.before_run for c in cuts)
        newest = [c for c in cuts if c.before_run == last]
        seen = [(p, u) for run, p, u in self.log if run == last]
        if self.careless or seen == [(c.plane, c.removed) for c in newest]:
            return [replace(c, looked=c.before_run == last) for c in cuts]
        kept = [c for c in cuts if c.before_run != last]
        return kept + [MadeCut(last, p, u, looked=True, knowingly=True) for p, u in seen]

    def look(self):
        """Keep how high it now is."""
        over = self.unit.true_peak(self.sensors) / self.first
        self.told.highest = max(self.told.highest, over)
        self.told.worse = self.told.highest > 1.1

    def passed(self):
        self.told.runs = self.runs
        self.told.false_pass = self.unit.true_peak(self.sensors) > LIMIT_G


def judged(model: ModelFile, speed, vectors, *, first=False):
    """Return the verdict on a run, (sensors, n)."""
    said = deciding({n: verdict_of(model, speed, v) for n, v in zip(NAMES, vectors, strict=False)})
    return as_first_run(said) if first else said


def could_pass(model, unit: Unit, sensors, used_mg) -> bool:
    """Whether an exact cut of both planes, as deep as may be, would be judged a pass."""
    unit = unit.copy()
    bench = Bench(model, sensors, used_mg=dict(used_mg))
    for _ in range(2):  # the second takes what the first left, by softening and by depth
        bench.vectors.append(unit.vector(unit.speed_rpm)[:sensors])
        if judged(model, unit.speed_rpm, bench.vectors[-1]).verdict == "pass":
            return True
        for plane, u in oracle(PLANES, unit, bench).items():
            u = bench.cut(plane, u)
            unit.take(plane, np.rad2deg(np.angle(u)), abs(u))
    return judged(model, unit.speed_rpm, unit.vector(unit.speed_rpm)[:sensors]).verdict == "pass"


def history_on(speed, vectors, cuts, sensors):
    """Return the runs as the adviser takes them: one sensor's points after the other's."""
    flat = np.stack([v.ravel() for v in vectors])
    return History(
        np.tile(speed, sensors),
        flat,
        np.full(flat.shape, TOLD_NOISE_G),
        tuple(cuts),
        np.repeat(np.arange(sensors), speed.size),
        NAMES[:sensors],
    )


def lessons_from(history: History, model: ModelFile, seed, sensors) -> list[Lesson]:
    """Return what a unit's runs teach those to come."""
    share = history.grid_rpm / model.test_speed_rpm
    out = []
    for plane, spread, response in learn_from(history, model):
        first, *further = np.split(response, sensors)
        more = dict(zip(NAMES[1:], further, strict=False))
        out.append(Lesson(plane, "rig", str(seed), spread, share, first, further=more))
    return out


def ask(history, model, made, priors, judgement, number, *, findings) -> Advised:
    """Return the advice; with `findings`, what the program finds between runs may stand in its way."""
    if not findings:
        advice, now = advise_vectors(history, model, made, priors, judgement, seed=number)
        return Advised(advice, (), now)
    scatter = model.as_scatter()
    found = change_findings(history, scatter) + shape_findings(history, priors, scatter)
    evidence = SimpleNamespace(
        model=model, history=history, judgement=judgement, findings=tuple(found), priors=priors,
        guesses={}, highest_rpm=model.test_speed_rpm, sensor_lag_deg=None,
        scatter=CutScatter(scatter, learn_keeping([])),
    )  # fmt: skip
    return advise_on(cast(Evidence, evidence), number, made)


def balance_strange(
    model: ModelFile,
    unit: Unit,
    seed: int,
    library: list[Lesson],
    *,
    sensors: int = 2,
    learn: bool = True,
    most_runs: int = MOST_RUNS,
    findings: bool = False,
    stand: Stand | None = None,
) -> Told:
    """Balance one unit with the adviser; `library` grows when `learn`.

    Who is told to look before anything is ground says what is seen on the piece, or "it is there" without
    looking; where that is not enough nobody lets the work go on, and the run is repeated.
    """
    stand = stand or Stand.of(unit, seed, sensors)
    speed, told = unit.speed_rpm, stand.told
    bench = Bench(model, sensors)
    vectors = bench.vectors
    cuts: list[MadeCut] = []
    made: list[Cut | AdvisedCut] = []
    priors = priors_of(library, model, speed, rig="rig", sensors=NAMES[:sensors])
    doubted = False
    while stand.runs < most_runs:
        vectors.append(stand.spin())
        judgement = judged(model, speed, vectors[-1], first=stand.runs == 1)
        history = history_on(speed, vectors, cuts, sensors)
        number = seed * 10 + stand.runs
        said = ask(history, model, made, priors, judgement, number, findings=findings)
        if said.advice.action == "fix" and cuts and not history.repeated():
            cuts = stand.answer(cuts)
            history = history_on(speed, vectors, cuts, sensors)
            told.codes |= {f.code for f in said.findings}
            said = ask(history, model, made, priors, judgement, number, findings=findings)
        advice = said.advice
        asked = tuple((c.plane, c.angle_deg, c.unbalance_gmm) for c in advice.cuts)
        chance = np.nan if advice.trial else advice.chance_of_pass
        told.trace.append((judgement.worst.ratio, advice.action, asked, chance))
        told.codes |= {f.code for f in said.findings}
        doubted = any(f.code == "cut.not_as_recorded" for f in said.findings)
        if judgement.verdict == "pass":
            stand.passed()
            break
        if advice.action == "stop":
            told.stopped = could_pass(model, stand.unit, sensors, bench.used_mg)
            break
        for c in advice.cuts:
            removed = c.unbalance_gmm * np.exp(1j * np.deg2rad(c.angle_deg))
            stand.grind(c.plane, removed)
            cuts += [MadeCut(stand.runs, p, u) for p, u in stand.entry(c.plane, removed)]
            made.append(c)
            bench.used_mg[c.plane] += c.mass_mg
        stand.look()
    kept = [c for c in cuts if c.before_run < len(vectors)]
    if learn and kept and not doubted:
        library += lessons_from(history_on(speed, vectors, kept, sensors), model, seed, sensors)
    return told


def balance_by(model, unit, seed, choose: Choose, *, sensors=2, most_runs=MOST_RUNS):
    """Balance one unit as a technician of the comparison does."""
    stand = Stand.of(unit, seed, sensors)
    bench = Bench(model, sensors)
    while stand.runs < most_runs:
        bench.vectors.append(stand.spin())
        judgement = judged(model, unit.speed_rpm, bench.vectors[-1], first=stand.runs == 1)
        if judgement.verdict == "pass":
            stand.passed()
            break
        asked = {p: bench.cut(p, u) for p, u in choose(bench).items()}
        for plane, u in asked.items():
            stand.grind(plane, u)
        stand.look()
        kept = tuple((p, float(np.rad2deg(np.angle(u))), abs(u)) for p, u in asked.items())
        stand.told.trace.append((judgement.worst.ratio, "cut", kept, 0.0))
    return stand.told


def figures(told: list[Told]) -> dict[str, float]:
    """Return the table's cells over units that started over the limit."""
    over = [t for t in told if t.over_at_first]
    runs = np.array([t.runs for t in over])
    return {
        "units": len(over),
        "median": float(np.median(runs)),
        "p90": float(np.percentile(runs, 90)),
        "mean": float(runs.mean()),
        "within six": float(np.mean(runs <= 6)),
        "worse": float(np.mean([t.worse for t in over])),
        "stopped": float(np.mean([t.stopped for t in over])),
        "highest": max(t.highest for t in over),
        "false": sum(t.false_pass for t in told),
    }


def one_model(task):
    """Return a model's name, its table's rows by who balanced, and the pairs with the empty ledger.

    Units 0 to `units` each start from an empty ledger; the growing library is filled by `WARM_UP`
    others, and when `units` allows by `SHELF`, before the same units are balanced with it.
    """
    rig, name, units, world, sensors, findings = task
    balance = partial(balance_strange, sensors=sensors, findings=findings)
    model, make = RIGS[rig](world)[name]
    seeds = range(units)
    rows: dict[str, list[Told]] = {}
    rows["own empty ledger"] = [balance(model, make(s), s, [], learn=False) for s in seeds]
    library: list[Lesson] = []
    before = 0
    for known in [k for k in (WARM_UP, SHELF) if k <= max(units, WARM_UP)]:
        for s in range(5_000 + before, 5_000 + known):
            balance(model, make(s), s, library)
        before = known
        grown = list(library)
        rows[f"library from {known} on"] = [balance(model, make(s), s, grown) for s in seeds]
    for who, start in technicians(make, sensors).items():
        rows[who] = [
            balance_by(model, u := make(s), s, start(u, s), sensors=sensors) for s in seeds
        ]
    return f"{rig}: {name}", rows


def row(who, f):
    """Return a line of the table."""
    return (
        f"  {who:24} n {f['units']:3} | {f['median']:.0f} | {f['p90']:.1f} | mean {f['mean']:.2f} | "
        f"within six {100 * f['within six']:5.1f} % | worse {100 * f['worse']:4.1f} % | "
        f"stopped {100 * f['stopped']:4.1f} % | highest {f['highest']:.2f} | false {f['false']}"
    )


def paired(rows: dict[str, list[Told]]) -> list[str]:
    """Return how units fared with a library beside the same units without."""
    out = []
    alone = rows["own empty ledger"]
    for who, told in rows.items():
        if who.startswith("library"):
            pairs = [(a.runs, b.runs) for a, b in zip(alone, told, strict=True) if a.over_at_first]
            lost = sum(b > a for a, b in pairs)
            won = sum(b < a for a, b in pairs)
            out.append(f"  {who}: worse off than alone {lost}, better off {won}, of {len(pairs)}")
    return out


def chances(told: list[Told]) -> list[tuple[float, bool]]:
    """Return what was said of the next run, and whether it passed."""
    return [
        (chance, t.runs == run + 1)
        for t in told
        for run, (_, action, _, chance) in enumerate(t.trace, start=1)
        if action == "cut" and chance == chance and run < MOST_RUNS
    ]


def main():
    """Print the tables."""
    p = argparse.ArgumentParser()
    p.add_argument("units", type=int)
    p.add_argument("names", nargs="*")
    p.add_argument("--rig", choices=RIGS)
    p.add_argument("--world", type=int, default=0)
    p.add_argument("--sensors", type=int, default=2)
    p.add_argument("--findings", action="store_true", help="findings between runs, as the program")
    p.add_argument("--workers", type=int, default=1)
    a = p.parse_intermixed_args()
    tasks = [
        (rig, name, a.units, a.world, a.sensors, a.findings)
        for rig in ([a.rig] if a.rig else RIGS)
        for name in RIGS[rig](a.world)
        if not a.names or name in a.names
    ]
    said: list[tuple[float, bool]] = []
    with ProcessPoolExecutor(a.workers) as pool:
        for name, rows in (pool.map if a.workers > 1 else map)(one_model, tasks):
            print(name, *(row(w, figures(t)) for w, t in rows.items()), sep="\n")
            print(*paired(rows), sep="\n", flush=True)
            said += [c for who, t in rows.items() if who.startswith(OURS) for c in chances(t)]
    for k in reliability(said):
        print(f"said {k.low:.1f}: n {k.number:4}  mean {k.said:.2f}  happened {k.happened:.2f}")


if __name__ == "__main__":
    main()
