"""A rig's health as pictures: its master's spins, two rigs on the same pieces, a gauge study, what is due."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from datetime import date
from urllib.parse import quote

from markupsafe import Markup

from ....statistics.agreement import Agreement
from ....workshop.records import OnBothRigs
from ....workshop.rig.health import MasterState
from ...drawings.plot import SHAPES, Axis, Dot, Line, Plot, plot_svg, round_axis
from ...formats import day, fixed, signed
from ...speaking import told

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
            words=told(
                "health_pic.mark_out" if i in outside else "health_pic.mark",
                day=day(at),
                g=fixed(g, 3),
            ),
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
    upper = told("health_pic.upper", g=fixed(chart.high, 3))
    lower = told("health_pic.lower", g=fixed(chart.low, 3))
    plot = Plot(
        told("health_pic.plot", serial=state.serial),
        Axis(*ends, told("health_pic.spins"), ticks),
        round_axis(values, told("health_pic.highest", serial=state.serial)),
        [
            Line([(ends[0], chart.high), (ends[1], chart.high)], "before", upper),
            Line([(ends[0], chart.low), (ends[1], chart.low)], "before", lower),
            Line([(ends[0], chart.centre), (ends[1], chart.centre)], "good", told("health_pic.as_was")),
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
            words=told(
                "health_pic.both_mark",
                serial=p.serial,
                first=fixed(p.first, 3),
                second=fixed(p.second, 3),
            ),
            few=True,
        )
        for p in pairs
    ]
    mean = told("health_pic.mean", g=signed(agreed.mean))
    x = round_axis([0.0, *(d.x for d in dots)], told("health_pic.mean_both"))
    y = round_axis(
        [0.0, agreed.low, agreed.high, *(d.y for d in dots)],
        told("health_pic.minus", first=first, second=second),
    )
    plot = Plot(
        told("health_pic.both_plot", first=first, second=second),
        x,
        y,
        [
            Line([(x.low, 0.0), (x.high, 0.0)], "expect"),
            Line([(x.low, agreed.mean), (x.high, agreed.mean)], "now", mean),
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
                        words=told(
                            "health_pic.study_mark",
                            serial=str(serials[i]),
                            who=who,
                            g=fixed(float(g), 3),
                        ),
                        few=True,
                        shape=SHAPES[p],
                    )
                )
    who_is = " · ".join(f"{told(f'shape.{SHAPES[p]}')} {who}" for p, who in enumerate(people))
    ticks = [(float(i), str(i + 1)) for i in range(len(serials))]
    plot = Plot(
        told("health_pic.study_plot"),
        Axis(-0.5, len(serials) - 0.5, who_is, ticks),
        round_axis([d.y for d in dots], told("health_pic.each")),
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
