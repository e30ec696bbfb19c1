"""python -m loop.run: the table of the closed loop (from tests/)."""

import sys
import time
from concurrent.futures import ProcessPoolExecutor

import numpy as np
from loop.loop import balance, both_planes, figures, model_of, one_speed, oracle, rule_of_thumb
from loop.modal_rig import KINDS, make_unit

from heavyspot.sim.cartridge import SIZES, make_cartridge


def maker(name):
    if name in SIZES:
        size = SIZES[name]
        return model_of(size.name, size.test_speed_rpm, size.wheel_mm), lambda s: make_cartridge(
            size, s
        )
    kind = KINDS[name]
    return model_of(kind.name, kind.test_speed_rpm, kind.wheel_mm), lambda s: make_unit(kind, s)


def habit(model, make):
    """The shop's usual lag and size at the top, as a technician has learnt them on ten units."""
    top = np.array([0.9 * model.test_speed_rpm])
    H = np.array([make(10_000 + i).plane_response("nut", top)[0] for i in range(10)])
    return float(np.rad2deg(np.angle(H.mean()))), float(np.abs(H).mean())


def one_model(name, units):
    model, make = maker(name)
    lag, size = habit(model, make)
    out, library, start = {}, [], time.time()
    told = [balance(model, make(s), s, library) for s in range(units)]
    out["heavyspot, from empty"] = figures(told)
    out["  first ten"] = figures(told[:10])
    told2 = [
        balance(model, make(1000 + s), 1000 + s, list(library), learn=False) for s in range(units)
    ]
    out["heavyspot, library"] = figures(told2)
    out["rule of thumb"] = figures(
        [rule_of_thumb(model, make(s), s, lag, size) for s in range(units)]
    )
    out["one speed"] = figures([one_speed(model, make(s), s, lag, size) for s in range(units)])
    out["oracle, nut only"] = figures([oracle(model, make(s), s) for s in range(units)])
    out["oracle, both planes"] = figures([both_planes(model, make(s), s) for s in range(units)])
    return name, out, [c for t in told + told2 for c in t.chances], time.time() - start


if __name__ == "__main__":
    units = int(sys.argv[1])
    names = sys.argv[2:] or [*SIZES, *KINDS]
    chances = []
    with ProcessPoolExecutor(2) as pool:
        for name, out, said, took in pool.map(one_model, names, [units] * len(names)):
            print(f"{name} ({took:.0f} s)")
            for who, f in out.items():
                print(
                    f"  {who:24} n {f['units']:3}  median {f['median']:.0f}  p90 {f['p90']:.1f}  within six {100 * f['within six']:5.1f} %  worse cuts {100 * f['worse cuts']:4.1f} %  units {100 * f['worse units']:4.1f} %  false {f['false']}",
                    flush=True,
                )
            chances += said
    said, did = np.array(chances).T
    for low in np.arange(0, 1, 0.1):
        k = (said >= low) & (said < low + 0.1 + (low > 0.85))
        if k.any():
            print(
                f"said {low:.1f}-{low + 0.1:.1f}: n {k.sum():4}  mean said {said[k].mean():.2f}  happened {did[k].mean():.2f}"
            )
