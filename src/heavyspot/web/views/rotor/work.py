"""A loose rotor's page as its template shows it."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass

from ....quantities.angles import Rotation, clock_text
from ....quantities.said import Said, Value
from ....quantities.words import short
from ....workshop.rotor.correction import Correction
from ....workshop.rotor.kept import CorrectionKept, MadeCorrection, RotorReadingKept, RotorStory
from ...formats import degrees, fixed, grouped
from ...speaking import told


@dataclass(frozen=True)
class Order:
    """One correction that is asked for, as a sentence with its stress, and its amount."""

    order: Said
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
        heading=told("rotor_page.again") if done else told("rotor_page.set"),
        speed=grouped(speed_rpm or None),
        orders=tuple(_order(c, rotation) for c in asked),
        reads=question in ("measure", "done", "correct"),
        reads_again=question in ("done", "correct"),
        rig=typed.get("rig") or last_rig or "",
        how=_how(last) if last else "",
        runs=tuple(_run(r, story.corrections) for r in story.readings),
    )


def _order(c: Correction, rotation: Rotation) -> Order:
    amounts = _amounts(c)
    said = amounts[0]
    for more in amounts[1:]:
        said = told("rotor_page.and", one=said, other=more)
    clock = clock_text(c.angle_deg, rotation)
    place: dict[str, Value] = {"angle": degrees(c.angle_deg), "clock": clock}
    return Order(
        Said(
            "rotor_page.take_off" if c.way == "remove" else "rotor_page.add_on",
            {"plane": c.plane, "amounts": said, **place},
        ),
        c.amount_gmm,
    )


def _amounts(c: Correction) -> tuple[str, ...]:
    if c.way == "remove":
        return (f"{fixed(c.depth_mm)} mm",)
    if c.pieces:
        return tuple(f"{n} × {mass} g" for mass, n in c.pieces.items())
    return (f"{short(c.mass_g)} g",)


def _how(last: RotorReadingKept) -> str:
    said = last.reading
    kind = f"{told('rotor_page.kind', kind=said.kind.capitalize())}. " if said.kind else ""
    speed = f"{grouped(said.speed_rpm)} rpm" if said.speed_rpm else ""
    parts = (told(f"rotor_way.{said.way}"), last.entry.rig, speed)
    return " ".join([f"{kind}{', '.join(p for p in parts if p)}.", *said.notes])


def _run(run: RotorReadingKept, corrections: Sequence[CorrectionKept]) -> RotorRun:
    return RotorRun(
        run.number,
        run.reading.verdict,
        tuple(f"{fixed(p.ratio)} ×" for p in run.reading.tolerance),
        tuple(_correction(c.made) for c in corrections if c.entry.after_run == run.number),
    )


def _correction(c: MadeCorrection) -> str:
    return told(
        "rotor_page.off" if c.way == "remove" else "rotor_page.added",
        plane=c.plane,
        amount=short(c.amount_gmm),
        angle=degrees(c.angle_deg),
    )
