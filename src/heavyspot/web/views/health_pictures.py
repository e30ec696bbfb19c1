"""A rig's health as pictures: its master's spins, two rigs on the same pieces, a gauge study, what is due."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from datetime import date
from urllib.parse import quote

from markupsafe import Markup

from ...statistics.agreement import Agreement
from ...workshop.records import OnBothRigs
from ...workshop.rig.health import MasterState
from ..drawings.plot import SHAPES, Axis, Dot, Line, Plot, plot_svg, round_axis
from ..formats import day

NEWEST = 60
"""Spins of the master that are drawn."""

NEAR_DAYS = 30
WIDE = 760


@dataclass(frozen=True)
class Due:
    """Something that has its day: the mark, its words, and how much of its time is gone, from 0 to 100."""

    what: str
    when: str
    mark: str
    gone: int


def master_picture(state: MasterState) -> Markup:
    """Return the master's spins with the band of its own history; a spin outside is a diamond."""
    chart, weighted = state.single, state.weighted
    if chart is None or weighted is None:
        return Markup("")
    start = max(0, len(state.values) - NEWEST)
    outside = set(chart.outside)
    place = f"/story/{quote(state.serial)}"
    dots = [
        Dot(
            i,
            g,
            place=place,
            words=f"{day(at)}: {g:.3f} g{', outside its history' if i in outside else ''}",
            few=i not in outside,
            look="hot" if i in outside else "now",
            shape="diamond" if i in outside else "circle",
        )
        for i, (at, g) in enumerate(state.values)
        if i >= start
    ]
    last = len(state.values) - 1
    ends = (start - 0.5, last + 0.5)
    step = max(1, (last - start) // 4)
    ticks = [(float(i), day(state.values[i][0])) for i in range(start, last + 1, step)]
    values = [*(d.y for d in dots), chart.low, chart.high]
    plot = Plot(
        f"Spins of the master {state.serial}, with the limits of its own history",
        Axis(*ends, "spins of the master", ticks),
        round_axis(values, f"Master {state.serial}: highest, g"),
        [
            Line([(ends[0], chart.high), (ends[1], chart.high)], "before", f"upper {chart.high:.3f}"),
            Line([(ends[0], chart.low), (ends[1], chart.low)], "before", f"lower {chart.low:.3f}"),
            Line([(ends[0], chart.centre), (ends[1], chart.centre)], "good", "as it was"),
            Line([(i, float(v)) for i, v in enumerate(weighted.points) if i >= start], "now"),
        ],
        dots,
        bands=[[(ends[0], chart.low, chart.high), (ends[1], chart.low, chart.high)]],
        wide=WIDE,
        high=280,
    )  # fmt: skip
    return plot_svg(plot)


def both_picture(agreed: Agreement, pairs: Sequence[OnBothRigs], first: str, second: str) -> Markup:
    """Return the differences of two rigs over their means, with the band of 95 in 100."""
    dots = [
        Dot(
            0.5 * (p.first + p.second),
            p.first - p.second,
            place=f"/story/{quote(p.serial)}",
            words=f"{p.serial}: {p.first:.3f} and {p.second:.3f} of the limit",
            few=True,
        )
        for p in pairs
    ]
    x = round_axis([0.0, *(d.x for d in dots)], "mean of both, of the limit")
    y = round_axis(
        [0.0, agreed.low, agreed.high, *(d.y for d in dots)],
        f"{first} minus {second}, of the limit",
    )
    plot = Plot(
        f"Pieces spun on {first} and {second}: differences over means",
        x,
        y,
        [
            Line([(x.low, 0.0), (x.high, 0.0)], "expect"),
            Line([(x.low, agreed.mean), (x.high, agreed.mean)], "now", f"mean {agreed.mean:+.3f}"),
        ],
        dots,
        bands=[[(x.low, agreed.low, agreed.high), (x.high, agreed.low, agreed.high)]],
        wide=560,
        high=260,
    )
    return plot_svg(plot)


def study_picture(study: Mapping[str, object]) -> Markup:
    """Return what each person read of each piece, persons told apart by shape; nothing without readings."""
    read, serials = study.get("read"), study.get("serials")
    if not isinstance(read, dict) or not isinstance(serials, list) or not serials:
        return Markup("")
    people = sorted(read)[: len(SHAPES)]
    dots = []
    for p, who in enumerate(people):
        for trial in read[who]:
            for i, g in enumerate(trial):
                dots.append(
                    Dot(
                        i + 0.18 * (p - 0.5 * (len(people) - 1)),
                        float(g),
                        place=f"/story/{quote(str(serials[i]))}",
                        words=f"{serials[i]}, {who}: {float(g):.3f} g",
                        few=True,
                        shape=SHAPES[p],
                    )
                )
    who_is = " · ".join(f"{SHAPES[p]} {who}" for p, who in enumerate(people))
    ticks = [(float(i), str(i + 1)) for i in range(len(serials))]
    plot = Plot(
        "What each person read of each piece",
        Axis(-0.5, len(serials) - 0.5, who_is, ticks),
        round_axis([d.y for d in dots], "g, each spin of each piece"),
        dots=dots,
        wide=560,
        high=260,
    )
    return plot_svg(plot)


def due_of(what: str, since: str, until: str, today: str) -> Due | None:
    """Return how something stands that is due on a day; None where no day is known."""
    if not until:
        return None
    end, now = date.fromisoformat(until[:10]), date.fromisoformat(today[:10])
    left = (end - now).days
    begun = date.fromisoformat(since[:10]) if since else None
    whole = (end - begun).days if begun and begun < end else 365
    gone = round(100 * min(max(1 - left / whole, 0.0), 1.0))
    mark = "over" if left < 0 else "date" if left <= NEAR_DAYS else "good"
    return Due(what, day(until), mark, gone)
