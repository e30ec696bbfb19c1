"""Suppliers, limits, claims and groups, each as small pictures on one scale, with intervals."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import replace

from ....statistics.survival import Survival
from ....workshop.insight.answers import AdviceGained, GroupShown, ShippedElsewhere
from ....workshop.insight.questions import FEW, Incoming, after, after_between, wilson
from ...drawings.plot import Axis, Dot, Line, Plot, plot_svg, ratio_axis, round_axis
from ...formats import counted, day
from .overview import PERCENT, Panel, behind, claims_panel, suppliers_panel

MOST_GROUPS = 12
MOST_SUPPLIERS, MOST_MODELS = 8, 8
ROW_PX, FRAME_PX = 34, 84
YEAR_DAYS = 365.0
WIDE = 740


def suppliers_panels(found: Sequence[Incoming]) -> list[Panel]:
    """Return all suppliers beside each other, and how each one's pieces came in over time, on one scale."""
    made = [suppliers_panel(found)]
    charted = [s for s in found if s.chart is not None][:MOST_SUPPLIERS]
    values = [
        math.exp(v)
        for s in charted
        if s.chart
        for v in (*s.chart.points, s.chart.low, s.chart.high)
    ]
    return [p for p in (*made, *(_supplier(s, values) for s in charted)) if p is not None]


def _supplier(s: Incoming, values: Sequence[float]) -> Panel | None:
    if s.chart is None:
        return None
    points = [math.exp(v) for v in s.chart.points]
    low, high, last = math.exp(s.chart.low), math.exp(s.chart.high), len(points) - 1
    outside = set(s.chart.outside)
    dots = [
        Dot(
            i,
            points[i],
            place=behind("supplier", s.supplier),
            words=f"{day(s.days[i])}: {points[i]:.2f} of the limit, outside what it was",
            look="hot",
            shape="diamond",
        )
        for i in sorted(outside)[-12:]
    ]
    dots.append(
        Dot(
            last,
            points[-1],
            place=behind("supplier", s.supplier),
            words=f"{s.supplier}, {day(s.days[-1])}: {points[-1]:.2f} of the limit",
            look="hot" if last in outside else "now",
            shape="diamond" if last in outside else "circle",
        )
    )
    ticks = [(0.0, day(s.days[0])), (float(last), day(s.days[-1]))]
    plot = Plot(
        f"First spins of {s.supplier}, weighted mean, over its newest pieces",
        Axis(-0.02 * last, 1.08 * last, f"its newest {counted(len(points), 'piece')}", ticks),
        ratio_axis(values, "first spin, of the limit"),
        [
            Line([(0, low), (last, low)], "before", f"{low:.2f}"),
            Line([(0, high), (last, high)], "before", f"{high:.2f}"),
            Line(list(enumerate(points)), "now"),
        ],
        dots,
        bands=[[(0, low, high), (last, low, high)]],
    )
    title = f"{s.supplier}: other since {day(s.alarm)}" if s.alarm else f"{s.supplier}: as before"
    sub = "weighted mean; the band: where it was, from the older half of what is shown"
    pieces = counted(s.pieces, "piece")
    return Panel(title, sub, plot_svg(plot), pieces, behind("supplier", s.supplier), "")


def limits_panels(rows: Sequence[ShippedElsewhere]) -> list[Panel]:
    """Return by model what looser limits would have let go, and how well the house limit is held."""
    shown = [r for r in rows if r.pieces]
    made = [_capability(shown), *(_limits(r) for r in shown[:MOST_MODELS])]
    return [p for p in made if p is not None]


def _limits(r: ShippedElsewhere) -> Panel:
    dots = []
    for times, share in ((1.0, r.one), (2.0, r.two), (3.0, r.three)):
        _, low, high = wilson(round(share * r.pieces), r.pieces)
        dots.append(
            Dot(
                times,
                100 * share,
                100 * low,
                100 * high,
                behind("model", r.model),
                f"{r.model}, {times:g} times the limit: {100 * share:.0f} % of {counted(r.pieces, 'piece')}",
                r.pieces < FEW,
                label=f"{100 * share:.0f} %",
            )
        )
    plot = Plot(
        f"{r.model}: pieces that a looser limit would let go uncut",
        Axis(0.7, 3.5, "limit, times the house's", [(1, "1×"), (2, "2×"), (3, "3×")]),
        Axis(0, 100, "", PERCENT),
        [Line([(d.x, d.y) for d in dots], "before")],
        dots,
        high=200,
    )
    few = ", few" if r.pieces < FEW else ""
    return Panel(
        f"{r.model}: {100 * r.one:.0f} % within as they came",
        f"at three times the limit {100 * r.three:.0f} %; 95 % intervals{few}",
        plot_svg(plot),
        counted(r.pieces, "piece"),
        behind("model", r.model),
        "",
    )


def _capability(rows: Sequence[ShippedElsewhere]) -> Panel | None:
    known = [r for r in rows if r.cpk is not None][:MOST_GROUPS]
    if not known:
        return None
    dots = [
        Dot(
            r.cpk or 0.0,
            i,
            r.cpk_low,
            r.cpk_high,
            behind("model", r.model),
            f"{r.model}: Cpk {r.cpk:.2f}, {r.cpk_low:.2f} to {r.cpk_high:.2f}",
            lying=True,
        )
        for i, r in enumerate(known)
    ]
    ends = [v for d in dots for v in (d.low, d.high) if v is not None]
    plot = Plot(
        "Capability of the last spin against the house limit",
        round_axis([0.0, 1.4, *ends], "Cpk, one-sided"),
        Axis(0, 1),
        dots=dots,
        upright=1.0,
        limit_word="three sigma",
        rows=[r.model for r in known],
        high=FRAME_PX + ROW_PX * len(known),
    )
    least = min(known, key=lambda r: r.cpk or 0.0)
    return Panel(
        f"{least.model} keeps its limit least surely",
        "capability of the last spins; bars: where the true one lies, 95 in 100",
        plot_svg(plot),
        counted(sum(r.pieces for r in known), "piece"),
        "#table",
        "/insight/limits?csv=true",
    )


def advice_panel(rows: Sequence[AdviceGained]) -> Panel | None:
    """Return where pieces stood before and after, with the advice kept and with something else ground."""
    if not rows:
        return None
    names = {True: "as advised", False: "otherwise"}
    dots, lines = [], []
    for i, a in enumerate(rows):
        words = f"{names[a.kept]}: from {a.before:.2f} to {a.after:.2f} of the limit"
        dots += [
            Dot(a.before, i, words=words, few=True, label="before"),
            Dot(a.after, i, words=words, label="after"),
        ]
        lines.append(Line([(a.before, i), (a.after, i)], "before"))
    plot = Plot(
        "Highest vibration before and after a cut, medians",
        ratio_axis([1.0, *(v for a in rows for v in (a.before, a.after))], "of the limit, medians"),
        Axis(0, 1),
        lines,
        dots,
        upright=1.0,
        limit_word="limit",
        rows=[f"{names[a.kept]}, {a.number}" for a in rows],
        high=FRAME_PX + 52 * len(rows),
    )
    kept = next((a for a in rows if a.kept), rows[0])
    return Panel(
        f"{100 * kept.passed:.0f} % pass after what was {'advised' if kept.kept else 'ground'}",
        "; ".join(f"{names[a.kept]} {100 * a.worse:.0f} % made worse" for a in rows),
        plot_svg(plot),
        counted(sum(a.number for a in rows), "advice"),
        "#advice",
        "",
    )


def claims_panels(found: Sequence[tuple[str, Survival]]) -> list[Panel]:
    """Return how pieces stay without a claim, and the share of each band after a year with its interval."""
    made = [claims_panel(found), _after_a_year(found)]
    return [replace(p, table="#table") for p in made if p is not None]


def _after_a_year(found: Sequence[tuple[str, Survival]]) -> Panel | None:
    known = [(name, c) for name, c in found if c.n]
    if not known:
        return None
    dots = []
    for i, (name, c) in enumerate(known):
        low, high = after_between(c, YEAR_DAYS)
        share = after(c, YEAR_DAYS)
        dots.append(
            Dot(
                100 * share,
                i,
                100 * low if c.claims else None,
                100 * high if c.claims else None,
                behind("left with", name),
                f"{name}: {100 * share:.1f} % of {counted(c.n, 'piece')} without a claim",
                c.n < FEW,
                lying=True,
                label=f"{c.claims} of {c.n}",
            )
        )
    least = min([d.low for d in dots if d.low is not None], default=90.0)
    axis = round_axis(
        [max(0.0, least), 100.0], "without a claim a year after it left, %", least=5.0
    )
    plot = Plot(
        "Without a claim after a year, by what a piece left with",
        replace(axis, high=100.0),
        Axis(0, 1),
        dots=dots,
        rows=[name.removesuffix(" of the limit").removesuffix(" of it") for name, _ in known],
        high=FRAME_PX + 46 * len(known),
    )
    return Panel(
        "By what a piece left with",
        "share of the limit; figures: claims of pieces; bars: 95 % limits",
        plot_svg(plot),
        counted(sum(c.n for _, c in known), "piece"),
        "#table",
        "/insight/claims?csv=true",
    )


def group_panel(rows: Sequence[GroupShown], by: str, since: str = "") -> Panel | None:
    """Return what passed at the first spin by any group, with intervals: over time, or one row a group."""
    shown = rows[:MOST_GROUPS]
    if not shown:
        return None
    when = by in ("week", "month")
    order = list(shown)[::-1] if when else list(shown)
    more = f"&since={since}" if since else ""
    dots = [
        Dot(
            i if when else 100 * r.first,
            100 * r.first if when else i,
            100 * r.first_low,
            100 * r.first_high,
            behind(by, r.name) + more,
            f"{r.name or 'not said'}: {100 * r.first:.0f} % of {counted(r.pieces, 'piece')}",
            r.few,
            lying=not when,
        )
        for i, r in enumerate(order)
    ]
    step = max(1, math.ceil(len(order) / 6))
    plot = Plot(
        f"Passed at the first spin by {by}",
        Axis(-0.5, len(order) - 0.5, by, [(float(i), r.name or "") for i, r in enumerate(order)][::step])
        if when
        else Axis(0, 100, "passed at the first spin", PERCENT),
        Axis(0, 100, "passed at the first spin", PERCENT) if when else Axis(0, 1),
        [Line([(d.x, d.y) for d in dots], "before")] if when else [],
        dots,
        rows=[] if when else [r.name or "not said" for r in order],
        wide=WIDE,
        high=260 if when else FRAME_PX + ROW_PX * len(order),
    )  # fmt: skip
    return Panel(
        f"Passed at the first spin, by {by}",
        "95 % intervals after Wilson; hollow: few pieces"
        + (f"; the first {MOST_GROUPS} of {len(rows)}" if len(rows) > MOST_GROUPS else ""),
        plot_svg(plot),
        counted(sum(r.pieces for r in shown), "piece"),
        "#table",
        f"/insight?by={by}&since={since}&csv=true",
    )
