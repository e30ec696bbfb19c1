"""python -m loop.run UNITS [MODEL ...]: the table of the closed loop (from tests/)."""

import sys
from concurrent.futures import ProcessPoolExecutor

import numpy as np
from loop.loop import (
    balance,
    both_planes,
    figures,
    model_of,
    one_speed,
    oracle,
    rule_of_thumb,
    speeds_of,
)
from loop.modal_rig import KINDS, make_unit

from heavyspot.balance.cut.calibrated_chance import learn_keeping
from heavyspot.sim.cartridge import SIZES, make_cartridge
from heavyspot.workshop.insight.gains import reliability
from heavyspot.workshop.model.other_units import Lesson

LIBRARY = 100


def maker(name):
    """Return a model and what makes its units, by name."""
    if name in SIZES:
        size = SIZES[name]
        model = model_of(size.name, size.test_speed_rpm, size.wheel_mm)
        return model, lambda seed: make_cartridge(size, seed)
    kind = KINDS[name]
    model = model_of(kind.name, kind.test_speed_rpm, kind.wheel_mm)
    return model, lambda seed: make_unit(kind, seed)


def habit(model, make):
    """The shop's usual lag and size at each speed, as a technician has learnt them on ten units."""
    H = np.array([make(10_000 + i).plane_response("nut", speeds_of(model)) for i in range(10)])
    return np.rad2deg(np.angle(H.mean(axis=0))), np.abs(H).mean(axis=0)


def one_model(task):
    """Return name, figures by who balanced, and what was said and happened."""
    name, units = task
    model, make = maker(name)
    lag, size = habit(model, make)
    library: list[Lesson] = []
    shelf: list[Lesson] = []
    empty = [balance(model, make(s), s, library) for s in range(units)]
    for s in range(LIBRARY):
        balance(model, make(5000 + s), 5000 + s, shelf)
    known = [balance(model, make(1000 + s), 1000 + s, shelf, learn=False) for s in range(units)]
    seeds = range(1000, 1000 + units)
    out = {
        "heavyspot, from an empty ledger": figures(empty),
        f"heavyspot, {LIBRARY} units known": figures(known),
        "rule of thumb": figures([rule_of_thumb(model, make(s), s, lag, size) for s in seeds]),
        "one-speed coefficient": figures([one_speed(model, make(s), s, lag, size) for s in seeds]),
        "oracle, nut only": figures([oracle(model, make(s), s) for s in seeds]),
        "oracle, both planes": figures([both_planes(model, make(s), s) for s in seeds]),
    }
    return name, out, [c for t in empty + known for c in t.chances]


def as_one_shop(streams):
    """Return (said, happened) of a shop whose models come in turn: each chance learns from those before."""
    longest = max(map(len, streams))
    said: list[tuple[float, bool]] = []
    past: list[tuple[float, bool]] = []
    keeping = learn_keeping(past)
    for i in range(longest):
        for stream in streams:
            k = i * len(stream) // longest
            if (i + 1) * len(stream) // longest > k:
                computed, happened = stream[k]
                said.append((keeping.said(computed), happened))
                past.append(stream[k])
        keeping = learn_keeping(past[-4000:])
    return said


def run(units, names):
    """Yield each model's name and figures; at the end the chances as computed, and as a shop says them."""
    chances = []
    with ProcessPoolExecutor(2) as pool:
        for name, out, said in pool.map(one_model, [(n, units) for n in names]):
            chances.append(said)
            yield name, out
    yield "computed", [c for stream in chances for c in stream]
    yield "said", as_one_shop(chances)


def row(who, f):
    """Return a line of the table."""
    return (
        f"  {who:32} n {f['units']:3}  median {f['median']:.0f}  p90 {f['p90']:.1f}  "
        f"within six {100 * f['within six']:5.1f} %  worse: cuts {100 * f['worse cuts']:4.1f} %, "
        f"units {100 * f['worse units']:4.1f} %  false passes {f['false']}"
    )


def main(units, names):
    """Print the table."""
    for name, out in run(units, names):
        if name in ("computed", "said"):
            for k in reliability(out):
                print(
                    f"{name} {k.low:.1f}-{k.low + 0.1:.1f}: n {k.number:4}  mean {k.said:.2f}  "
                    f"happened {k.happened:.2f}"
                )
        else:
            print(name, *(row(w, f) for w, f in out.items()), sep="\n", flush=True)


if __name__ == "__main__":
    main(int(sys.argv[1]), sys.argv[2:] or [*SIZES, *KINDS])
