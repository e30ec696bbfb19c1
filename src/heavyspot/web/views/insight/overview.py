"""How the shop does, as pictures side by side: what each says, its marks, and where they lead."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass
from datetime import date
from itertools import pairwise
from urllib.parse import quote

from markupsafe import Markup

from ....statistics.survival import Survival
from ....workshop.insight.answers import GroupShown, ShippedElsewhere
from ....workshop.insight.gains import Gains, Hand, ModelGains
from ....workshop.insight.questions import Incoming
from ...drawings.plot import Axis, Dot, Line, Plot, plot_svg
from ...formats import counted

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
            f"{m.name}: {100 * m.first:.0f} % of {counted(m.pieces, 'piece')}",
            m.few,
        )
        for i, m in enumerate(shown)
    ]
    step = max(1, math.ceil(len(shown) / 4))
    ticks = [(float(i), _month(m.name)) for i, m in enumerate(shown)][::step]
    plot = Plot(
        "Passed at the first spin by month",
        Axis(-0.4, len(shown) - 0.6, "month", ticks),
        Axis(0, 100, "", PERCENT),
        [Line([(d.x, d.y) for d in dots], "before")],
        dots,
    )
    return Panel(
        f"{share:.0f} % pass at the first spin",
        f"the newest three months; {was:.0f} % in the first three shown; 95 % intervals",
        plot_svg(plot),
        counted(pieces, "piece"),
        "/insight?by=month",
        "/insight?by=month&csv=true",
    )


def _month(name: str | None) -> str:
    return date.fromisoformat(f"{name}-01").strftime("%b %y")


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
                f"{name}, units {x - 4:.0f} to {x + 5:.0f}: {mean:.1f} runs",
            )
            for x, mean, low, high_ in block
        ]
    name, block = next(iter(blocks.items()))
    begun, now = block[0][1], block[-1][1]
    title = (
        f"{name}: {begun:.1f} runs a piece, now {now:.1f}"
        if abs(now - begun) >= 0.1
        else f"{name} takes {now:.1f} runs a piece"
    )
    plot = Plot(
        "Runs a piece, by how many units of the model are known",
        Axis(1, max(most, 11), "units of the model known"),
        Axis(0, math.ceil(high), "runs a piece"),
        lines,
        dots,
    )
    sub = "as the shop learns a model; means of ten, 95 % intervals"
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
            f"{s.supplier}: half of {counted(s.pieces, 'piece')} below {s.middle:.2f} of the limit",
            s.pieces < 10,
            lying=True,
            look="hot" if s.alarm else "now",
        )
        for i, s in enumerate(shown)
    ]
    worst = shown[0]
    changed = next((s for s in shown if s.alarm), None)
    title = (
        f"{changed.supplier} comes in otherwise than it did"
        if changed
        else f"{worst.supplier} comes in heaviest"
    )
    plot = Plot(
        "First spin by supplier",
        Axis(low, high, "first spin, of the limit", [(r, f"{r:g}") for r in ratios], log=True),
        Axis(0, 1),
        dots=dots,
        upright=1.0,
        limit_word="limit",
        rows=[s.supplier for s in shown],
    )
    sub = f"half of its pieces below {worst.middle:.1f} of the limit; bars: eight of ten"
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
            words=f"{r.model}, {x:g} times the limit: {y:.0f} %",
        )
        for r, line in zip(shown, lines, strict=True)
        for x, y in line.points
    ]
    n = sum(r.pieces for r in rows)
    three = 100 * sum(r.three * r.pieces for r in rows) / n
    plot = Plot(
        "Pieces that a looser limit would let go uncut",
        Axis(0.8, 3.2, "limit, times the house's", [(1, "1×"), (2, "2×"), (3, "3×")]),
        Axis(0, 100, "", PERCENT),
        lines,
        dots,
    )
    return Panel(
        f"3× our limit ships {three:.0f} % uncut",
        "what others might let go, as the pieces came in",
        plot_svg(plot),
        counted(n, "piece"),
        "/insight/limits",
        "/insight/limits?csv=true",
    )


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
        lines.append(
            Line(_steps(points), look, name.removesuffix(" of the limit").removesuffix(" of it"))
        )
        if i == len(known) - 1 and c.claims:
            bands.append(_band(c))
    claims = sum(c.claims for _, c in known)
    best, worst = known[0][1], known[-1][1]
    share = (best.claims / best.n, worst.claims / worst.n)
    title = (
        "Quieter leaves, fewer come back"
        if len(known) > 1 and share[0] < share[1]
        else f"{counted(claims, 'claim')} so far"
    )
    plot = Plot(
        "Without a claim, by what a piece left with",
        Axis(0, 12, "months since delivered", [(m, f"{m}") for m in (0, 3, 6, 9, 12)]),
        Axis(low, 100, "", [(100.0 - i * step, f"{100 - i * step} %") for i in range(3, -1, -1)]),
        lines,
        bands=bands,
    )
    sub = f"without a claim, by share of the limit it left with; the axis begins at {low:g} %"
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
    who, cuts = h.operator or "not named", counted(h.number, "cut")
    return f"{who}, {h.cutter}: ±{100 * h.share:.0f} %, ±{h.angle_deg:.1f}°, {cuts}"


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
            label=f"{h.operator or 'not named'}, {h.number}",
        )
        for h in gains.hands[:MOST_ROWS]
    ]
    wide = max(8.0, 1.2 * max(d.x for d in dots))
    high = max(20.0, 1.25 * max(d.y for d in dots))
    steadiest = min(gains.hands, key=lambda h: h.share)
    plot = Plot(
        "How far cuts turn out beside what was written down",
        Axis(0, wide, "angle, ± degrees"),
        Axis(0, high, "amount, ± %"),
        dots=dots,
    )
    title = f"{steadiest.operator or 'Cuts'} within {100 * steadiest.share:.0f} % of what was meant"
    cuts = counted(sum(h.number for h in gains.hands), "cut")
    sub = "as the next spin showed it; hollow: few cuts"
    return Panel(title, sub, plot_svg(plot), cuts, "/gains#hands", "/insight?by=operator&csv=true")
