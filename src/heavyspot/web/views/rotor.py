"""A loose rotor's page as its template shows it."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass

from ...quantities.angles import Rotation, clock_text
from ...quantities.words import short
from ...workshop.rotor.correction import Correction
from ...workshop.rotor.kept import CorrectionKept, MadeCorrection, RotorReadingKept, RotorStory
from ..formats import degrees, fixed, grouped

WAYS = {
    "typed": "Read off the display",
    "forces": "From forces at the supports",
    "influence": "Through influence coefficients",
}


@dataclass(frozen=True)
class Order:
    """One correction that is asked for: ``Take off`` the plane so much, at an angle.

    Attributes
    ----------
    amounts : tuple of str
        A depth, one mass, or masses of a set, each with its unit.
    tail : str
        What follows them: ``deep`` for a cut.
    """

    verb: str
    plane: str
    amounts: tuple[str, ...]
    tail: str
    angle_deg: float
    clock: str
    amount_gmm: float


@dataclass(frozen=True)
class RotorRun:
    """A reading in the row of what was done: ratios to the limits, and the corrections after it."""

    number: int
    verdict: str
    ratios: tuple[str, ...]
    corrections: tuple[str, ...]


@dataclass(frozen=True)
class RotorView:
    """What the template says beyond the ledger's own words.

    Attributes
    ----------
    look : str
        The style of the question.
    speed : str
        The live speed, a dash when there is none.
    reads, reads_again : bool
        Whether a reading may be written down, and whether it is one more.
    rig : str
        The machine that stands in the form.
    how : str
        How the last reading came about, in one line.
    """

    look: str
    problem: str
    heading: str
    speed: str
    orders: tuple[Order, ...]
    reads: bool
    reads_again: bool
    rig: str
    how: str
    runs: tuple[RotorRun, ...]


def rotor_view(
    question: str,
    story: RotorStory,
    *,
    done: bool,
    problem: str,
    speed_rpm: float | None,
    typed: Mapping[str, str],
    rotation: Rotation,
) -> RotorView:
    """Return what the rotor's template shows."""
    last = story.last
    asked = last.reading.advice.corrections if last and question == "correct" else ()
    last_rig = last.entry.rig if last and not typed else ""
    return RotorView(
        look="grind" if question == "correct" else question,
        problem="" if question == "measuring" else problem,
        heading="Done. Measure again."
        if done
        else "Set the rotor on the machine: A and B as in its description.",
        speed=grouped(speed_rpm or None),
        orders=tuple(_order(c, rotation) for c in asked),
        reads=question in ("measure", "done", "correct"),
        reads_again=question in ("done", "correct"),
        rig=typed.get("rig") or last_rig or "",
        how=_how(last) if last else "",
        runs=tuple(_run(r, story.corrections) for r in story.readings),
    )


def _order(c: Correction, rotation: Rotation) -> Order:
    clock = clock_text(c.angle_deg, rotation)
    verb, tail = ("Take off", "deep") if c.way == "remove" else ("Add on", "")
    return Order(verb, c.plane, _amounts(c), tail, c.angle_deg, clock, c.amount_gmm)


def _amounts(c: Correction) -> tuple[str, ...]:
    if c.way == "remove":
        return (f"{fixed(c.depth_mm)} mm",)
    if c.pieces:
        return tuple(f"{n} × {mass} g" for mass, n in c.pieces.items())
    return (f"{short(c.mass_g)} g",)


def _how(last: RotorReadingKept) -> str:
    said = last.reading
    kind = f"{said.kind.capitalize()} unbalance. " if said.kind else ""
    speed = f"{grouped(said.speed_rpm)} rpm" if said.speed_rpm else ""
    way = ", ".join(part for part in (WAYS[said.way], last.entry.rig, speed) if part)
    return " ".join([f"{kind}{way}.", *said.notes])


def _run(run: RotorReadingKept, corrections: Sequence[CorrectionKept]) -> RotorRun:
    return RotorRun(
        run.number,
        run.reading.verdict,
        tuple(f"{fixed(p.ratio)} ×" for p in run.reading.tolerance),
        tuple(_correction(c.made) for c in corrections if c.entry.after_run == run.number),
    )


def _correction(c: MadeCorrection) -> str:
    way = "off" if c.way == "remove" else "added"
    return f"{c.plane} {short(c.amount_gmm)} g·mm {way} at {degrees(c.angle_deg)}°"
