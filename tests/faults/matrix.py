"""python -m faults.matrix SEEDS FILE [RIG ...]: every kind of fault through the public call (from tests/).

SEEDS is how many, or from which to which: 25-50.

Each case is a shop of its own: empty, or with ten healthy units of the model. What comes out is judged by
the truth that was put in. Results go to FILE, a line each; what is there already is not done again.
"""

from __future__ import annotations

import json
import os
import shutil
import sys
import tempfile
from collections import defaultdict
from concurrent.futures import ProcessPoolExecutor
from dataclasses import asdict, dataclass
from pathlib import Path

import numpy as np
from faults.kinds import KINDS
from faults.other_rigs import MODELS, RATED_SHARE, RIGS, healthy

from heavyspot import Workshop, add_model, add_piece, add_rig, spin

LIMIT_G = 0.5
TRUTHS_G = (0.3, 0.8)
UNITS = 10
WRONG_SHARE, WRONG_DEG = 0.20, 15.0
"""From here on a vector is not the rotor's."""


@dataclass(frozen=True)
class Case:
    """One cell of the matrix."""

    kind: str
    rig: str
    seed: int
    truth_g: float

    @property
    def key(self):
        return f"{self.kind}|{self.rig}|{self.seed}|{self.truth_g}"


@dataclass(frozen=True)
class Outcome:
    """What came of it."""

    key: str
    verdict: str
    action: str
    codes: dict
    false_pass: bool
    wrong_cut: bool
    named: bool
    false_word: bool
    off: float


def model_of(rig):
    name, test = MODELS[rig]
    return {
        "name": name, "rotation": "clockwise", "rated_speed_rpm": RATED_SHARE * test,
        "test_speed_rpm": test, "plane": [{"name": "nut", "radius_mm": 6.0}],
    }  # fmt: skip


def furnish(folder, rig, units):
    """Make a shop in which so many healthy units of the model were spun."""
    shop = Workshop(folder)
    add_model(shop, model_of(rig))
    add_rig(shop, "rig")
    for unit in range(units):
        add_piece(shop, f"known-{unit}", MODELS[rig][0])
        peak = float(np.exp(np.random.default_rng([unit, 5]).uniform(np.log(0.15), np.log(1.5))))
        spin(shop, f"known-{unit}", healthy(rig, 90_000 + unit, peak).as_recording())
    shop.close()


def faulty(case):
    """Return the healthy take and the faulty one of a case."""
    kind = KINDS[case.kind]
    size = (case.seed % 4) / 3
    rng = np.random.default_rng([case.seed, RIGS.index(case.rig), round(10 * case.truth_g), 31])
    unit = 10 * case.seed + round(10 * case.truth_g)
    if kind.only == "magnetic" and unit % 3 == 2:
        unit += 1
    how = kind.how(size) if kind.how else {}
    spin_seed = unit + (600_000 if kind.needs == "run" else 0)
    take = healthy(case.rig, unit, case.truth_g, spin_seed, **how)
    before = healthy(case.rig, unit, case.truth_g) if kind.needs == "run" else None
    return take, kind.make(take, size, rng) if kind.make else take, before


def play(case, templates):
    """Return the outcome of a case."""
    kind = KINDS[case.kind]
    known = kind.needs == "units" or case.seed % 2 == 1
    take, told, before = faulty(case)
    with tempfile.TemporaryDirectory() as folder:
        place = Path(folder) / "shop"
        shutil.copytree(templates[case.rig, known], place)
        shop = Workshop(place)
        add_piece(shop, "piece", MODELS[case.rig][0])
        if before is not None:
            spin(shop, "piece", before.as_recording())
        try:
            result = spin(shop, "piece", told.as_recording())
        finally:
            shop.close()
    return judged(case, kind, take, result)


def judged(case, kind, take, result):
    """Judge a result by the truth."""
    off = error_of(result.curves, take)
    over = bool(take.peak_g() > LIMIT_G)
    codes = {f.code: f.severity for f in result.findings}
    loud = {c for c, s in codes.items() if s != "note"}
    return Outcome(
        key=case.key,
        verdict=result.verdict,
        action=result.advice.action,
        codes=codes,
        false_pass=result.verdict == "pass" and bool(over or kind.proves_nothing or off > 1.0),
        wrong_cut=bool(result.advice.action == "cut" and off > 1.0),
        named=not kind.named or bool(kind.named & set(codes)),
        false_word=bool(kind.never & set(codes)) or (kind.name == "clean" and bool(loud)),
        off=float(min(off, 99.0)),
    )


def error_of(curves, take):
    """Return how far the vector is off, over what makes it wrong; 0 without a curve."""
    if not curves:
        return 0.0
    speed, got = curves[0].speed_rpm, curves[0].vector[0]
    inside = speed > 0.15 * take.test_speed_rpm
    if inside.sum() < 5:
        return 0.0
    truth = take.vector(speed[inside])
    size = float((np.abs(truth) ** 2).sum())
    ratio = complex((np.conj(truth) * got[inside]).sum()) / size
    rest = float(np.sqrt((np.abs(got[inside] - ratio * truth) ** 2).sum() / size))
    share = max(abs(abs(ratio) - 1), rest)
    return max(share / WRONG_SHARE, abs(np.rad2deg(np.angle(ratio))) / WRONG_DEG)


def _played(task):
    case, templates = task
    try:
        return asdict(play(case, templates))
    except Exception as fault:
        return {"key": case.key, "fault": f"{type(fault).__name__}: {fault}"}


def cases(seeds, kinds=None, rigs=RIGS, truths=TRUTHS_G):
    """Return the cases, all kinds of one seed before the next seed."""
    return [Case(k, r, s, t) for s in seeds for k in (kinds or KINDS) for r in rigs for t in truths]


def templates_in(folder, rigs=RIGS):
    """Make the shops that cases start from; keep those that are there."""
    found = {}
    for rig in rigs:
        for known in (False, True):
            place = Path(folder) / f"{rig}-{'known' if known else 'empty'}"
            if not place.exists():
                furnish(place, rig, UNITS if known else 0)
                shutil.rmtree(place / "recordings", ignore_errors=True)
            found[rig, known] = place
    return found


def run(wanted, templates, *, workers=1, done=(), keep=lambda outcome: None):
    """Yield outcomes, as dicts, of the cases that are not done."""
    tasks = [(c, templates) for c in wanted if c.key not in done]
    if workers == 1:
        results = map(_played, tasks)
        for outcome in results:
            keep(outcome)
            yield outcome
        return
    with ProcessPoolExecutor(workers) as pool:
        for outcome in pool.map(_played, tasks, chunksize=4):
            keep(outcome)
            yield outcome


def table(outcomes):
    """Return the rows of the table: kind, runs, false passes, wrong cuts, share named, false words."""
    by_kind = defaultdict(list)
    for o in outcomes:
        by_kind[o["key"].split("|")[0]].append(o)
    rows = []
    for kind in KINDS:
        found = by_kind.get(kind, [])
        if not found:
            continue
        good = [o for o in found if "fault" not in o]
        n = max(1, len(good))
        rows.append({
            "kind": kind, "runs": len(good), "broken": len(found) - len(good),
            "false passes": sum(o["false_pass"] for o in good),
            "wrong cuts": sum(o["wrong_cut"] for o in good),
            "named": sum(o["named"] for o in good) / n,
            "false words": sum(o["false_word"] for o in good) / n,
            "blocked": sum("block" in o["codes"].values() for o in good) / n,
        })  # fmt: skip
    return rows


def printed(rows):
    """Return the table as text (Markdown)."""
    out = [
        "| kind | runs | false passes | cuts on a wrong vector | named | false words | blocked |"
    ]
    out.append("| --- | --- | --- | --- | --- | --- | --- |")
    for r in rows:
        named = f"{100 * r['named']:.0f} %" if KINDS[r["kind"]].named else ""
        broken = f" ({r['broken']} broken)" if r["broken"] else ""
        out.append(
            f"| {r['kind']} | {r['runs']}{broken} | {r['false passes']} | {r['wrong cuts']} | {named} | "
            f"{100 * r['false words']:.0f} % | {100 * r['blocked']:.0f} % |"
        )
    return "\n".join(out)


def gone_on_with(wanted, templates, path, *, workers=1):
    """Return the outcomes of the cases: those in `path` from before, and those that were missing."""
    path = Path(path)
    before = [json.loads(line) for line in path.read_text().splitlines()] if path.exists() else []
    done = {o["key"] for o in before if "fault" not in o}
    with path.open("a") as out:

        def keep(outcome):
            out.write(json.dumps(outcome) + "\n")
            out.flush()

        new = list(run(wanted, templates, workers=workers, done=done, keep=keep))
    latest = {o["key"]: o for o in [*before, *new]}
    return [latest[c.key] for c in wanted]


def seeds_of(text):
    """Return the seeds of "50" or of "25-50" (the last one not)."""
    first, _, last = text.rpartition("-")
    return range(int(first or 0), int(last))


def main(seeds, file, rigs):
    """Fill FILE with these seeds, and print the table."""
    path = Path(file)
    templates = templates_in(path.with_suffix(".shops"), rigs)
    workers = int(os.environ.get("FAULT_WORKERS", "1"))
    print(printed(table(gone_on_with(cases(seeds, rigs=rigs), templates, path, workers=workers))))


if __name__ == "__main__":
    main(seeds_of(sys.argv[1]), sys.argv[2], tuple(sys.argv[3:]) or RIGS)
