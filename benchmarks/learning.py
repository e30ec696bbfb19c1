"""What a library of a thousand units costs the advice, and what learning from a run costs."""

from __future__ import annotations

import time
from dataclasses import replace
from statistics import median

import numpy as np

from heavyspot import Workshop
from heavyspot.balance.cut.history import History, MadeCut
from heavyspot.balance.limits import PASS_K, amplitude_uncertainty, judge
from heavyspot.ledger.records import ChanceKept, Learnt, LearntResponse, Run
from heavyspot.sim.cartridge import SIZES, make_cartridge
from heavyspot.workshop.cartridge.advising import advise_vectors
from heavyspot.workshop.cartridge.cut_scatter import cut_scatter_of
from heavyspot.workshop.cartridge.learning import learn_from
from heavyspot.workshop.cartridge.past import GRID_SHARES
from heavyspot.workshop.job.pieces import add_piece
from heavyspot.workshop.model.models import add_model
from heavyspot.workshop.model.other_units import known_of, learnt_response

UNITS = 1000
SIZE = SIZES["Larch 52"]


def _model(shop):
    return add_model(shop, {
        "name": SIZE.name, "rotation": "clockwise", "rated_speed_rpm": SIZE.rated_speed_rpm,
        "test_speed_rpm": SIZE.test_speed_rpm,
        "plane": [
            {"name": "nut", "radius_mm": 6.0, "budget_mg": 2000},
            {"name": "turbine hub", "radius_mm": 9.0, "material": "inconel 713c", "budget_mg": 2500},
        ],
    })  # fmt: skip


def _fill(shop, model, speed, rng):
    run = Run(
        piece_id="", number=1, verdict="pass", worst_ratio=0.5, result={}, conditions={}, recording="",
        recording_sha256="", rig="rig",
    )  # fmt: skip
    kinds = [make_cartridge(SIZE, s) for s in range(40)]
    for i in range(UNITS):
        piece = add_piece(shop, f"B-{i}", model.name)
        rows = []
        for plane in model.plane:
            response = kinds[i % 40].plane_response(plane.name, speed)
            response = response * (1 + 0.1 * (rng.standard_normal() + 1j * rng.standard_normal()))
            rows.append(LearntResponse(
                model=model.name, rig="rig", plane=plane.name, piece_id=piece, run_number=1, spread=0.2,
                vector=learnt_response(speed, response, model),
            ))  # fmt: skip
        kept = ChanceKept(piece_id=piece, run_number=1, computed=0.9, said=0.9, passed=True)
        learnt = Learnt(tuple(rows), (), (kept,))
        shop.book.cartridges.add_run(replace(run, piece_id=piece), b"", [], learnt)


def _history(speed, rng, cuts=1):
    unit = make_cartridge(SIZE, 4242)
    vectors, made = [unit.vector(speed)], []
    for run in range(1, cuts + 1):
        unit = unit.ground("nut", 40.0, 1.5)
        vectors.append(unit.vector(speed) * (1 + 0.02 * rng.standard_normal()))
        made.append(MadeCut(run, "nut", complex(1.5 * np.exp(1j * np.deg2rad(40.0)))))
    noise = np.full((len(vectors), speed.size), 0.002)
    return History(speed, np.stack(vectors), noise, tuple(made))


def timed(function, repeat):
    """Median wall time, s."""
    times = []
    for _ in range(repeat):
        start = time.perf_counter()
        function()
        times.append(time.perf_counter() - start)
    return median(times)


def rows(folder):
    """Return the rows of the table."""
    rng = np.random.default_rng(0)
    shop = Workshop(folder / "library")
    model = _model(shop)
    grid = GRID_SHARES * model.test_speed_rpm
    speed = grid[grid >= model.from_rpm]
    _fill(shop, model, speed, rng)
    history = _history(speed, rng)
    last = np.abs(history.vectors[-1])
    u = amplitude_uncertainty(last, history.noise[-1], repeat_share=0.025, calibration_share=0.01)
    judgement = judge(
        speed, last, u, model.house_limit(), from_rpm=model.from_rpm, to_rpm=model.test_speed_rpm,
        step_rpm=float(speed[1] - speed[0]), pass_k=PASS_K,
    )  # fmt: skip

    def known():
        return known_of(shop, model, speed, rig="rig", serviced_at="", not_piece="")

    priors, _ = known()

    def advise():
        advise_vectors(history, model, [], priors, judgement)

    whole = timed(known, 5) + timed(lambda: cut_scatter_of(shop.book, model, "Ida"), 5)
    advice = timed(advise, 7)
    learn = timed(lambda: learn_from(history, model), 15)
    shop.close()
    return [
        (f"advice, {UNITS:,} units known", f"{1e3 * advice:.0f} ms", "", "", "< 50 ms"),
        ("  what others teach, read from the ledger", f"{1e3 * whole:.0f} ms", "advice",
         f"{whole / advice:.2f}", ""),
        ("learning from one run", f"{1e3 * learn:.1f} ms", "advice", f"{learn / advice:.2f}", ""),
        ("  100,000 runs, one core", f"{1e5 * learn / 60:.0f} min", "", "", "minutes"),
    ]  # fmt: skip
