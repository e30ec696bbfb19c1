"""Suppliers, limits, claims and groups, each as small pictures on one scale, with intervals."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import replace

from ....statistics.survival import Survival
from ....workshop.insight.answers import AdviceGained, GroupShown, ShippedElsewhere
from ....workshop.insight.questions import FEW, Incoming, after, after_between, wilson
from ...drawings.plot import Axis, Dot, Line, Plot, plot_svg, ratio_axis, round_axis
from ...formats import as_code, counted, day
from ...speaking import told
from .overview import PERCENT, Panel, band_words, behind, claims_panel, suppliers_panel

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
            words=told("panel.outside_mark", day=day(s.days[i]), ratio=points[i]),
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
            words=told("panel.newest_mark", name=s.supplier, day=day(s.days[-1]), ratio=points[-1]),
            look="hot" if last in outside else "now",
            shape="diamond" if last in outside else "circle",
        )
    )
    ticks = [(0.0, day(s.days[0])), (float(last), day(s.days[-1]))]
    plot = Plot(
        told("panel.over_time", name=s.supplier),
        Axis(
            -0.02 * last,
            1.08 * last,
            told("panel.its_newest", pieces=counted(len(points), "piece")),
            ticks,
        ),
        ratio_axis(values, told("panel.first_of_limit")),
        [
            Line([(0, low), (last, low)], "before", f"{low:.2f}"),
            Line([(0, high), (last, high)], "before", f"{high:.2f}"),
            Line(list(enumerate(points)), "now"),
        ],
        dots,
        bands=[[(0, low, high), (last, low, high)]],
    )
    title = (
        told("panel.other_since", name=s.supplier, day=day(s.alarm))
        if s.alarm
        else told("panel.as_before", name=s.supplier)
    )
    sub = told("panel.band_sub")
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
                told("panel.times_mark", name=r.model, times=times, share=100 * share),
                r.pieces < FEW,
                label=f"{100 * share:.0f} %",
            )
        )
    plot = Plot(
        told("panel.times_plot"),
        Axis(0.7, 3.5, told("panel.times_axis"), [(1, "1×"), (2, "2×"), (3, "3×")]),
        Axis(0, 100, "", PERCENT),
        [Line([(d.x, d.y) for d in dots], "before")],
        dots,
        high=200,
    )
    return Panel(
        told("panel.within_title", name=r.model, share=100 * r.one),
        told("panel.within_sub", share=100 * r.three),
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
        told("panel.cpk_plot"),
        round_axis([0.0, 1.4, *ends], told("panel.cpk_axis")),
        Axis(0, 1),
        dots=dots,
        upright=1.0,
        limit_word=told("panel.sigma"),
        rows=[r.model for r in known],
        high=FRAME_PX + ROW_PX * len(known),
    )
    least = min(known, key=lambda r: r.cpk or 0.0)
    return Panel(
        told("panel.cpk_title", name=least.model),
        told("panel.cpk_sub"),
        plot_svg(plot),
        counted(sum(r.pieces for r in known), "piece"),
        "#table",
        "/insight/limits?csv=true",
    )


def advice_panel(rows: Sequence[AdviceGained]) -> Panel | None:
    """Return where pieces stood before and after, with the advice kept and with something else ground."""
    if not rows:
        return None
    names = {True: told("panel.advised"), False: told("panel.otherwise")}
    dots, lines = [], []
    for i, a in enumerate(rows):
        words = told("panel.advice_mark", name=names[a.kept], before=a.before, after=a.after)
        dots += [
            Dot(a.before, i, words=words, few=True, label=told("panel.before")),
            Dot(a.after, i, words=words, label=told("panel.after")),
        ]
        lines.append(Line([(a.before, i), (a.after, i)], "before"))
    plot = Plot(
        told("panel.advice_plot"),
        ratio_axis([1.0, *(v for a in rows for v in (a.before, a.after))], told("panel.medians")),
        Axis(0, 1),
        lines,
        dots,
        upright=1.0,
        limit_word=told("panel.limit"),
        rows=[f"{names[a.kept]}, {a.number}" for a in rows],
        high=FRAME_PX + 52 * len(rows),
    )
    kept = next((a for a in rows if a.kept), rows[0])
    return Panel(
        told("panel.advice_title", share=100 * kept.passed),
        "; ".join(told("panel.advice_sub", name=names[a.kept], share=100 * a.worse) for a in rows),
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
                told(
                    "panel.left_mark",
                    name=band_words(name),
                    share=100 * share,
                    pieces=counted(c.n, "piece"),
                ),
                c.n < FEW,
                lying=True,
                label=told("panel.left_label", claims=str(c.claims), pieces=str(c.n)),
            )
        )
    least = min([d.low for d in dots if d.low is not None], default=90.0)
    axis = round_axis([max(0.0, least), 100.0], told("panel.left_axis"), least=5.0)
    plot = Plot(
        told("panel.left_plot"),
        replace(axis, high=100.0),
        Axis(0, 1),
        dots=dots,
        rows=[band_words(name) for name, _ in known],
        high=FRAME_PX + 46 * len(known),
    )
    return Panel(
        told("panel.left_title"),
        told("panel.left_sub"),
        plot_svg(plot),
        counted(sum(c.n for _, c in known), "piece"),
        "#table",
        "/insight/claims?csv=true",
    )


def _of_pieces(r: GroupShown) -> str:
    name, pieces = r.name or told("panel.not_said"), counted(r.pieces, "piece")
    return told("panel.of_pieces", name=name, share=100 * r.first, pieces=pieces)


def group_panel(rows: Sequence[GroupShown], by: str, since: str = "") -> Panel | None:
    """Return what passed at the first spin by any group, with intervals: over time, or one row a group."""
    shown = rows[:MOST_GROUPS]
    if not shown:
        return None
    when, by_words = by in ("week", "month"), told(f"insight_by.{as_code(by)}")
    sub = told("panel.group_sub")
    if len(rows) > MOST_GROUPS:
        sub += "; " + told("panel.group_some", shown=str(MOST_GROUPS), all=str(len(rows)))
    order = list(shown)[::-1] if when else list(shown)
    more = f"&since={since}" if since else ""
    dots = [
        Dot(
            i if when else 100 * r.first,
            100 * r.first if when else i,
            100 * r.first_low,
            100 * r.first_high,
            behind(by, r.name) + more,
            told(
                "panel.of_pieces",
                name=r.name or told("panel.not_said"),
                share=100 * r.first,
                pieces=counted(r.pieces, "piece"),
            ),
            r.few,
            lying=not when,
        )
        for i, r in enumerate(order)
    ]
    step = max(1, math.ceil(len(order) / 6))
    plot = Plot(
        told("panel.group_title", by=by_words),
        Axis(-0.5, len(order) - 0.5, by_words, [(float(i), r.name or "") for i, r in enumerate(order)][::step])
        if when
        else Axis(0, 100, told("panel.passed"), PERCENT),
        Axis(0, 100, told("panel.passed"), PERCENT) if when else Axis(0, 1),
        [Line([(d.x, d.y) for d in dots], "before")] if when else [],
        dots,
        rows=[] if when else [r.name or told("panel.not_said") for r in order],
        wide=WIDE,
        high=260 if when else FRAME_PX + ROW_PX * len(order),
    )  # fmt: skip
    return Panel(
        told("panel.group_title", by=by_words),
        sub,
        plot_svg(plot),
        counted(sum(r.pieces for r in shown), "piece"),
        "#table",
        f"/insight?by={by}&since={since}&csv=true",
    )
