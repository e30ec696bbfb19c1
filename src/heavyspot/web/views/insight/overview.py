"""How the shop does, as pictures side by side: what each says, its marks, and where they lead."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass
from datetime import date
from itertools import pairwise
from urllib.parse import quote

from markupsafe import Markup

from ....quantities.dates import day_words
from ....statistics.survival import Survival
from ....workshop.insight.answers import GroupShown, ShippedElsewhere
from ....workshop.insight.gains import Gains, Hand, ModelGains
from ....workshop.insight.questions import BANDS, Incoming, band_name
from ...drawings.plot import Axis, Dot, Line, Plot, plot_svg
from ...formats import counted
from ...speaking import language, told

BLOCK = 10
"""Units of a model that make one mark of how many runs they took."""

MOST_LINES, MOST_ROWS = 4, 7
PERCENT = tuple((v, f"{v:.0f} %") for v in (0.0, 50.0, 100.0))
YEAR_DAYS = 365


@dataclass(frozen=True)
class Panel:
    """One picture with its sentence; `pieces` and `table` are places."""

    title: str
    sub: str
    picture: Markup
    pieces_words: str
    table: str
    csv: str


def behind(by: str, name: str | None) -> str:
    """Return where the pieces behind a number are shown."""
    return f"/insight/pieces?by={by}&name={quote(name or '')}"


def first_spin_panel(months: Sequence[GroupShown]) -> Panel | None:
    """Return how many pass at the first spin, by month, newest last."""
    shown = [m for m in reversed(months) if m.name][-12:]
    if len(shown) < 2:
        return None
    pieces = sum(m.pieces for m in shown)
    newest = shown[-3:]
    share = 100 * sum(m.at_first for m in newest) / sum(m.pieces for m in newest)
    was = 100 * sum(m.at_first for m in shown[:3]) / sum(m.pieces for m in shown[:3])
    dots = [
        Dot(
            i,
            100 * m.first,
            100 * m.first_low,
            100 * m.first_high,
            behind("month", m.name),
            told(
                "panel.of_pieces",
                name=m.name or "",
                share=100 * m.first,
                pieces=counted(m.pieces, "piece"),
            ),
            m.few,
        )
        for i, m in enumerate(shown)
    ]
    step = max(1, math.ceil(len(shown) / 4))
    ticks = [(float(i), _month(m.name)) for i, m in enumerate(shown)][::step]
    plot = Plot(
        told("panel.first_plot"),
        Axis(-0.4, len(shown) - 0.6, told("panel.month"), ticks),
        Axis(0, 100, "", PERCENT),
        [Line([(d.x, d.y) for d in dots], "before")],
        dots,
    )
    return Panel(
        told("panel.first_title", share=share),
        told("panel.first_sub", was=was),
        plot_svg(plot),
        counted(pieces, "piece"),
        "/insight?by=month",
        "/insight?by=month&csv=true",
    )


def _month(name: str | None) -> str:
    return day_words(date.fromisoformat(f"{name}-01"), "yyMMM", language())


def runs_panel(gains: Gains) -> Panel | None:
    """Return how many runs a unit takes as its model is learnt: means of ten units after another."""
    models = sorted(gains.models, key=lambda m: -len(m.units))[:MOST_LINES]
    blocks = {m.model: _blocks(m) for m in models}
    blocks = {name: b for name, b in blocks.items() if b}
    if not blocks:
        return None
    most = max(len(m.units) for m in models)
    high = max(h for b in blocks.values() for _, _, _, h in b)
    lines, dots = [], []
    for i, (name, block) in enumerate(blocks.items()):
        look = "now" if i == 0 else "before"
        lines.append(Line([(x, mean) for x, mean, _, _ in block], look, name))
        dots += [
            Dot(
                x,
                mean,
                low,
                high_,
                behind("model", name),
                told("panel.runs_mark", name=name, first=x - 4, last=x + 5, runs=mean),
            )
            for x, mean, low, high_ in block
        ]
    name, block = next(iter(blocks.items()))
    begun, now = block[0][1], block[-1][1]
    title = (
        told("panel.runs_now", name=name, begun=begun, now=now)
        if abs(now - begun) >= 0.1
        else told("panel.runs_same", name=name, now=now)
    )
    plot = Plot(
        told("panel.runs_plot"),
        Axis(1, max(most, 11), told("panel.units_known")),
        Axis(0, math.ceil(high), told("panel.runs_axis")),
        lines,
        dots,
    )
    sub = told("panel.runs_sub")
    pieces = counted(sum(len(m.units) for m in gains.models), "piece")
    return Panel(title, sub, plot_svg(plot), pieces, "/gains#table", "/insight?by=model&csv=true")


def _blocks(model: ModelGains) -> list[tuple[float, float, float, float]]:
    """Return (middle unit, mean, low, high) of each ten units; the last ones only when they are ten."""
    out = []
    for start in range(0, len(model.units) - BLOCK + 1, BLOCK):
        runs = [u.runs for u in model.units[start : start + BLOCK]]
        mean = sum(runs) / BLOCK
        sd = math.sqrt(sum((r - mean) ** 2 for r in runs) / (BLOCK - 1))
        half = 2.262 * sd / math.sqrt(BLOCK)  # Student's t, 9 degrees of freedom, 95 %
        out.append((start + 5.0, mean, max(mean - half, 0.0), mean + half))
    return out


def suppliers_panel(found: Sequence[Incoming]) -> Panel | None:
    """Return how heavy each supplier's pieces come in: half of them, and four of five."""
    shown = sorted(found, key=lambda s: -s.middle)[:MOST_ROWS]
    if not shown:
        return None
    low = min(min(s.low for s in shown), 0.5)
    high = max(max(s.high for s in shown), 2.0)
    ratios = [r for r in (0.25, 0.5, 1.0, 2.0, 4.0, 8.0, 16.0) if low <= r <= high]
    dots = [
        Dot(
            s.middle,
            i,
            s.low,
            s.high,
            behind("supplier", s.supplier),
            told(
                "panel.supplier_mark",
                name=s.supplier,
                pieces=counted(s.pieces, "piece"),
                middle=s.middle,
            ),
            s.pieces < 10,
            lying=True,
            look="hot" if s.alarm else "now",
        )
        for i, s in enumerate(shown)
    ]
    worst = shown[0]
    changed = next((s for s in shown if s.alarm), None)
    title = (
        told("panel.supplier_changed", name=changed.supplier)
        if changed
        else told("panel.supplier_worst", name=worst.supplier)
    )
    plot = Plot(
        told("panel.supplier_plot"),
        Axis(low, high, told("panel.first_of_limit"), [(r, f"{r:g}") for r in ratios], log=True),
        Axis(0, 1),
        dots=dots,
        upright=1.0,
        limit_word=told("panel.limit"),
        rows=[s.supplier for s in shown],
    )
    sub = told("panel.supplier_sub", middle=worst.middle)
    pieces = counted(sum(s.pieces for s in found), "piece")
    return Panel(
        title, sub, plot_svg(plot), pieces, "/insight/suppliers", "/insight/suppliers?csv=true"
    )


def limits_panel(rows: Sequence[ShippedElsewhere]) -> Panel | None:
    """Return how many would go uncut by looser limits, as they came in."""
    shown = [r for r in rows if r.pieces][:MOST_LINES]
    if not shown:
        return None
    lines = [
        Line(
            [(1, 100 * r.one), (2, 100 * r.two), (3, 100 * r.three)],
            "now" if i == 0 else "before",
            r.model,
        )
        for i, r in enumerate(shown)
    ]
    dots = [
        Dot(
            x,
            y or 0.0,
            place=behind("model", r.model),
            words=told("panel.times_mark", name=r.model, times=x, share=y or 0.0),
        )
        for r, line in zip(shown, lines, strict=True)
        for x, y in line.points
    ]
    n = sum(r.pieces for r in rows)
    three = 100 * sum(r.three * r.pieces for r in rows) / n
    plot = Plot(
        told("panel.times_plot"),
        Axis(0.8, 3.2, told("panel.times_axis"), [(1, "1×"), (2, "2×"), (3, "3×")]),
        Axis(0, 100, "", PERCENT),
        lines,
        dots,
    )
    return Panel(
        told("panel.times_title", share=three),
        told("panel.times_sub"),
        plot_svg(plot),
        counted(n, "piece"),
        "/insight/limits",
        "/insight/limits?csv=true",
    )


def band_words(name: str) -> str:
    """Return a band of residual vibration, by its name, as a picture says it: shares of the limit."""
    low, high = next((b for b in BANDS if band_name(*b) == name), (0.0, math.inf))
    if math.isinf(high):
        return told("panel.band_over", low=low)
    return told("panel.band", low=low, high=high)


def claims_panel(found: Sequence[tuple[str, Survival]]) -> Panel | None:
    """Return how pieces stay without a claim, by what they left with."""
    known = [(name, c) for name, c in found if c.n]
    if not known:
        return None
    shares = [
        100 * s for _, c in known for t, s in zip(c.time, c.share, strict=True) if t <= YEAR_DAYS
    ]
    step = max(2, math.ceil((100 - min(shares, default=100.0)) / 3))
    low = max(0.0, 100.0 - 3 * step)
    lines, bands = [], []
    for i, (name, c) in enumerate(known[:MOST_LINES]):
        points = [
            (t / 30.4, 100 * s) for t, s in zip(c.time, c.share, strict=True) if t <= YEAR_DAYS
        ]
        look = "good" if i == 0 else "now" if i == len(known) - 1 else "before"
        lines.append(Line(_steps(points), look, band_words(name)))
        if i == len(known) - 1 and c.claims:
            bands.append(_band(c))
    claims = sum(c.claims for _, c in known)
    best, worst = known[0][1], known[-1][1]
    share = (best.claims / best.n, worst.claims / worst.n)
    title = (
        told("panel.claims_fewer")
        if len(known) > 1 and share[0] < share[1]
        else told("panel.claims_so_far", claims=counted(claims, "claim"))
    )
    plot = Plot(
        told("panel.claims_plot"),
        Axis(0, 12, told("panel.months"), [(m, f"{m}") for m in (0, 3, 6, 9, 12)]),
        Axis(low, 100, "", [(100.0 - i * step, f"{100 - i * step} %") for i in range(3, -1, -1)]),
        lines,
        bands=bands,
    )
    sub = told("panel.claims_sub", low=low)
    return Panel(
        title,
        sub,
        plot_svg(plot),
        counted(claims, "claim"),
        "/insight/claims",
        "/insight/claims?csv=true",
    )


def _steps(points: Sequence[tuple[float, float]]) -> list[tuple[float, float | None]]:
    whole = [(0.0, 100.0), *points, (12.0, points[-1][1] if points else 100.0)]
    out: list[tuple[float, float | None]] = [whole[0]]
    for (_, before), (x, y) in pairwise(whole):
        out += [(x, before), (x, y)]
    return out


def _band(c: Survival) -> list[tuple[float, float, float]]:
    rows = [
        (t / 30.4, 100 * a, 100 * b)
        for t, a, b in zip(c.time, c.low, c.high, strict=True)
        if t <= YEAR_DAYS
    ]
    return [*rows, (12.0, rows[-1][1], rows[-1][2])] if rows else []


def _hand_words(h: Hand) -> str:
    who = h.operator or told("panel.not_named")
    return told(
        "panel.hand_mark", who=who, cutter=h.cutter, share=100 * h.share, angle=h.angle_deg,
        cuts=counted(h.number, "cut"),
    )  # fmt: skip


def hands_panel(gains: Gains) -> Panel | None:
    """Return how far cuts turn out beside what was written down, by hand and cutter."""
    if not gains.hands:
        return None
    dots = [
        Dot(
            h.angle_deg,
            100 * h.share,
            place=behind("operator", h.operator),
            words=_hand_words(h),
            few=h.number < 8,
            label=f"{h.operator or told('panel.not_named')}, {h.number}",
        )
        for h in gains.hands[:MOST_ROWS]
    ]
    wide = max(8.0, 1.2 * max(d.x for d in dots))
    high = max(20.0, 1.25 * max(d.y for d in dots))
    steadiest = min(gains.hands, key=lambda h: h.share)
    plot = Plot(
        told("panel.hand_plot"),
        Axis(0, wide, told("panel.hand_angle")),
        Axis(0, high, told("panel.hand_amount")),
        dots=dots,
    )
    title = told(
        "panel.hand_title",
        who=steadiest.operator or told("panel.not_named"),
        share=100 * steadiest.share,
    )
    cuts = counted(sum(h.number for h in gains.hands), "cut")
    sub = told("panel.hand_sub")
    return Panel(title, sub, plot_svg(plot), cuts, "/gains#hands", "/insight?by=operator&csv=true")
