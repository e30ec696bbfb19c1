"""The ledger line: runs and cuts as they were written down, the oldest left."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Literal

from ....quantities.said import Said, Value
from ....workshop.cartridge.story import CartridgeStory, KeptRun
from ....workshop.model.model_file import ModelFile
from ....workshop.records import Cut
from ...formats import fixed
from .seen import clock_of

Sign = Literal["ok", "no", "ask", "open"]
SIGNS: dict[str, Sign] = {"pass": "ok", "fail": "no", "undecided": "ask"}


@dataclass(frozen=True)
class CutMade:
    """A cut: its id, its words, and the same for those who cannot see it."""

    id: str
    words: Said
    label: Said


@dataclass(frozen=True)
class RunDone:
    """A run with the cuts after it."""

    number: int
    amplitude: Said
    sign: Sign
    cuts: tuple[CutMade, ...]


def line_of(story: CartridgeStory) -> tuple[RunDone, ...]:
    """Return a piece's runs, oldest first."""
    return tuple(_run(r, story) for r in story.runs)


def _run(run: KeptRun, story: CartridgeStory) -> RunDone:
    worst = run.result.worst
    amplitude = (
        Said("bench.line.amplitude", {"amplitude_g": worst.amplitude_g})
        if worst
        else Said("bench.line.no_curve")
    )
    cuts = (_cut(c, story.model) for c in story.made if c.after_run == run.number)
    return RunDone(run.number, amplitude, SIGNS.get(run.result.verdict, "open"), tuple(cuts))


def _cut(cut: Cut, model: ModelFile) -> CutMade:
    values: dict[str, Value] = {
        "plane": cut.plane,
        "clock": clock_of(model, cut.plane, cut.angle_deg),
        "depth": fixed(cut.depth_mm),
        "angle_deg": cut.angle_deg,
    }
    return CutMade(cut.id, Said("bench.line.cut", values), Said("bench.line.amend", values))
