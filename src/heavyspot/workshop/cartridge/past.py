"""A piece's earlier runs, as arrays again; and its responses, kept for the units to come."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Any

import numpy as np

from ...balance.cut.response import History, MadeCut
from ...ledger.records import Cut
from ...ledger.store.array_bytes import pack, unpack
from ...quantities.angles import phasor
from ...quantities.arrays import Array
from ...signal.curve import Curve
from ..model import ModelFile
from ..reading import KeptResult
from ..shop import Workshop
from .story import CartridgeStory, KeptRun

GRID_SHARES = np.linspace(0.10, 1.0, 91)
"""Speeds of the advice, as shares of test speed: every 1 %."""

UNTRUSTED = ("sensor.", "reference.", "recording.rate", "speed.not_followed")
"""Codes of blocking findings after which a vector is not the rotor's, and no later run is compared with it."""

COMPARED = {"reference.reversed"}
"""Findings that come from comparing runs: the run after them must see both."""

LEARN_SPREAD = 0.45
"""A response is kept for others when it is known to better than this share."""


@dataclass(frozen=True)
class PastRun:
    """One run of the ledger with its curves."""

    run: KeptRun
    curves: tuple[Curve, ...]

    @property
    def number(self) -> int:
        """1 for the first run of the piece."""
        return self.run.number


def pack_curves(curves: tuple[Curve, ...]) -> bytes:
    """Return curves as bytes for the ledger."""
    arrays: dict[str, Array] = {}
    for i, c in enumerate(curves):
        for name in (
            "speed_rpm", "time_s", "vector", "noise", "overall_rms", "twice", "thrice", "half",
        ):  # fmt: skip
            arrays[f"{i}.{c.direction}.{name}"] = getattr(c, name)
    return pack(arrays)


def unpack_curves(data: bytes) -> tuple[Curve, ...]:
    """Return the curves that `pack_curves` stored, in order."""
    by_curve: dict[tuple[int, str], dict[str, Any]] = {}
    for key, values in unpack(data).items():
        number, direction, name = key.split(".")
        by_curve.setdefault((int(number), direction), {})[name] = values
    return tuple(
        Curve(direction=direction, **fields)  # type: ignore[arg-type]  # "up" or "down" as stored
        for (_, direction), fields in sorted(by_curve.items())
    )


def past_runs(shop: Workshop, story: CartridgeStory) -> list[PastRun]:
    """Return a piece's runs with their curves, in order."""
    curves = shop.book.cartridges.curves(story.piece.id) if story.runs else {}
    return [PastRun(r, unpack_curves(curves[r.number])) for r in story.runs]


def history_of(
    curves: list[tuple[int, Curve]], cuts: Sequence[Cut], model: ModelFile
) -> History | None:
    """Return the runs that can be compared with the last one, on the advice's speeds.

    Parameters
    ----------
    curves : list of (run number, Curve)
        Main curve of each run that has one, in order.
    cuts : sequence of Cut
        Cuts made; ``after_run`` says which run they follow.
    """
    if not curves:
        return None
    last = curves[-1][1]
    grid = GRID_SHARES * model.test_speed_rpm
    low = max(model.from_rpm, float(last.speed_rpm[0]))
    high = min(model.test_speed_rpm * 1.0001, float(last.speed_rpm[-1]))
    grid = grid[(grid >= low - 1.0) & (grid <= high + 1.0)]
    if grid.size < 5:
        return None
    step = grid[1] - grid[0]
    kept = [
        (n, c)
        for n, c in curves
        if c.speed_rpm[0] <= grid[0] + 2 * step and c.speed_rpm[-1] >= grid[-1] - 2 * step
    ]
    numbers = [n for n, _ in kept]
    made = []
    for cut in cuts:
        later = [i for i, n in enumerate(numbers) if n > cut.after_run]
        if later and later[0] > 0:
            removed = complex(phasor(cut.unbalance_gmm, cut.angle_deg))
            made.append(MadeCut(later[0], cut.plane, removed))
    return History(
        grid,
        np.stack([vector_at(c, grid) for _, c in kept]),
        np.stack([np.interp(grid, c.speed_rpm, c.noise[0]) for _, c in kept]),
        tuple(made),
    )


def trusted_vectors(result: KeptResult) -> bool:
    """Whether a run's vectors are the rotor's: no finding on sensor or reference stands against them."""
    if result.overruled:
        return True
    return not any(f.code.startswith(UNTRUSTED) and f.code not in COMPARED for f in result.blocking)


def vector_at(curve: Curve, speed_rpm: Array) -> Array:
    """Return the first channel's vector at other speeds, by straight lines."""
    v = curve.vector[0]
    return np.asarray(
        np.interp(speed_rpm, curve.speed_rpm, v.real)
        + 1j * np.interp(speed_rpm, curve.speed_rpm, v.imag)
    )


def learnt_response(speed_rpm: Array, response: Array, model: ModelFile) -> bytes:
    """Return a response as bytes for the ledger, on shares of test speed."""
    return pack({"share": speed_rpm / model.test_speed_rpm, "response": response})
