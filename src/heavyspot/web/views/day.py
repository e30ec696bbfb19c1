"""The day as its templates show it."""

from __future__ import annotations

from collections.abc import Collection, Sequence
from dataclasses import dataclass
from datetime import date, timedelta
from urllib.parse import quote

import numpy as np

from ...quantities.dates import day_words
from ...quantities.said import Said, in_words
from ...workshop.day.jobs import Passed, Waiting
from ...workshop.day.on_rigs import OnRig
from ..formats import fixed
from ..speaking import language

WIDE, HIGH = 306, 52
"""Of a rig's small curve."""

ROOM_ABOVE = 1.18
"""The curve's frame above the highest of curve and limit."""

HOURS = tuple((30 * hour, 20 if hour % 3 == 0 else 15) for hour in range(12))
"""Where each hour of the dial stands, degrees, and how far in it reaches."""

MARKS = {
    "grind": ("act", Said("day.state.grind_bare")),
    "look": ("over", Said("day.state.look")),
    "again": ("turns", Said("day.state.again")),
    "spin": ("turns", Said("day.state.spin")),
    "passed": ("good", Said("day.state.passed")),
    "stopped": ("over", Said("day.state.stopped")),
    "free": ("waits", Said("day.state.free")),
    "new": ("turns", Said("day.state.new")),
}


@dataclass(frozen=True)
class RigView:
    """One rig's card.

    Attributes
    ----------
    mark, word : str
        The sign of its state, and what it says.
    curve : str
        Path of the curve in a frame of `WIDE` by `HIGH`.
    limit_y : float
        Where the limit runs in it.
    hours : tuple of (degrees, end)
        Of the dial.
    place : str
        Address of its bench; empty where that is not here.
    """

    on: OnRig
    mark: str
    word: Said
    curve: str = ""
    limit_y: float = 0.0
    hours: tuple[tuple[int, int], ...] = HOURS
    place: str = ""

    @property
    def turned(self) -> tuple[float, ...]:
        """Angle of each cut on the clock face, degrees clockwise from the mark."""
        sign = -1.0 if self.on.clockwise else 1.0
        return tuple(sign * angle for _, angle, _, _ in self.on.cuts)

    @property
    def more(self) -> int:
        """How many cuts there are beside the first."""
        return max(0, len(self.on.cuts) - 1)


def rig_view(on: OnRig, spinning: Collection[str], here: Collection[str] = ()) -> RigView:
    """Return a rig's card; a piece that spins just now is said to; a rig of this computer leads to its bench."""
    place = f"/at/{quote(on.rig)}" if on.rig in here else ""
    mark, word = MARKS[on.state]
    if on.state == "grind" and on.cuts:
        word = Said("day.state.grind", {"planes": listed_planes(on)})
    if on.serial and on.serial in spinning:
        mark, word = "turns", Said("day.state.spinning")
    if on.curve is None or on.limit_g is None:
        return RigView(on, mark, word, place=place)
    speed, g = on.curve.speed_rpm, np.abs(on.curve.vector[0])
    top = ROOM_ABOVE * max(float(g.max()), on.limit_g)
    foot = HIGH - 3
    thin = slice(None, None, max(1, speed.size // 120))
    x = 2 + (WIDE - 4) * speed[thin] / float(speed[-1])
    y = foot - (foot - 2) * g[thin] / top
    path = "M" + "L".join(f"{a:.1f} {b:.1f}" for a, b in zip(x, y, strict=True))
    limit_y = round(foot - (foot - 2) * on.limit_g / top, 1)
    return RigView(on, mark, word, path, limit_y, place=place)


def listed_planes(on: OnRig) -> str:
    """Return the planes to be ground, each once."""
    return ", ".join(dict.fromkeys(c[0] for c in on.cuts))


@dataclass(frozen=True)
class WaitingView:
    """One job that waits."""

    place: str
    when: str
    late: bool
    customer: str
    done: tuple[bool, ...]


def waiting_view(waiting: Waiting, today: date) -> WaitingView:
    """Return a waiting job's line."""
    due = date.fromisoformat(waiting.job.due) if waiting.job.due else None
    words = "" if due is None else _when(due, today)
    late = due is not None and due <= today
    name = waiting.job.customer or waiting.job.invoice or waiting.pieces[0].serial
    return WaitingView(f"/jobs/{waiting.job.id}", words, late, name, waiting.done)


def _when(due: date, today: date) -> str:
    if due == today:
        return in_words(Said("day.today"), language())
    if due < today:
        return in_words(Said("day.late", {"day": day_words(due, "MMMd", language())}), language())
    near = due - today < timedelta(days=7)
    return day_words(due, "Ed" if near else "MMMd", language())


def date_words(day: date) -> str:
    """Return a day as one says it: Thu 26 November."""
    return day_words(day, "MMMMEd", language())


@dataclass(frozen=True)
class Stem:
    """One piece that passed: where it stood at first, and now."""

    serial: str
    short: str
    x: float
    first_y: float
    last_y: float
    first: str
    last: str


@dataclass(frozen=True)
class PassedView:
    """Today's passed pieces, from first spin to delivered, on a logarithmic scale of g over the limit's.

    Attributes
    ----------
    ticks : tuple of (y, text)
    words : str
        How many, and how many of them were cut only once.
    """

    stems: tuple[Stem, ...]
    ticks: tuple[tuple[float, str], ...]
    limit_y: float
    words: Said


TOP, FOOT, LEFT, RIGHT = 14.0, 120.0, 50.0, 564.0
MOST_STEMS = 14


def passed_view(passed: Sequence[Passed]) -> PassedView:
    """Return the picture of what passed today; the newest of many."""
    shown = passed[-MOST_STEMS:]
    high = max((max(p.first, 1.0) for p in shown), default=4.0)
    low = min((min(p.last, 0.5) for p in shown), default=0.5) / 1.3
    high *= 1.2

    def y(ratio: float) -> float:
        share = np.log(max(ratio, low) / low) / np.log(high / low)
        return round(FOOT - (FOOT - TOP) * float(share), 1)

    step = (RIGHT - LEFT) / max(len(shown), 4)
    stems = tuple(
        Stem(
            p.serial, p.serial.split("-")[-1], round(LEFT + step * (i + 0.5), 1), y(p.first), y(p.last),
            fixed(p.first * p.limit_g), fixed(p.last * p.limit_g),
        )
        for i, p in enumerate(shown)
    )  # fmt: skip
    limits = {p.limit_g for p in shown}
    unit = limits.pop() if len(limits) == 1 else None
    ratios = [r for r in (0.125, 0.25, 0.5, 1.0, 2.0, 4.0, 8.0, 16.0) if low < r < high]
    ticks = tuple((y(r), f"{r * unit:g}" if unit else f"{r:g}×") for r in ratios)
    once = sum(p.cuts == 1 for p in passed)
    told = {"pieces": float(len(passed)), "once": float(once)}
    words = Said("day.once" if once else "day.pieces", {**told})
    return PassedView(stems, ticks, y(1.0), words)
