"""Corrected flow over position as SVG, for the sheet and the page."""

from __future__ import annotations

from html import escape

from ..quantities.said import Said, in_words
from .flow import FlowReport
from .plots import ACCENT, FADED, INK, RULE, Say, mark_text

WIDTH, HEIGHT = 640, 250
LEFT, RIGHT, TOP, BOTTOM = 70, 12, 14, 34


def flow_svg(report: FlowReport, *, say: Say = in_words) -> str:
    """Return readings (opening filled, closing hollow), the fitted line and the windows."""
    points = [
        (r.position, r.corrected_kg_s, r.way) for r in report.readings if r.position is not None
    ]
    xs = [x for x, _, _ in points] + [x for x, _ in report.curve]
    ys = [y for _, y, _ in points] + [y for _, y in report.curve]
    ys += [v for w in report.windows if w.position is not None for v in (w.low_kg_s, w.high_kg_s)]
    if not xs:
        return f'<svg xmlns="http://www.w3.org/2000/svg" viewBox="0 0 {WIDTH} {HEIGHT}"></svg>'
    x0, x1 = min(xs), max(max(xs), min(xs) + 1e-9)
    pad = 0.08 * (max(ys) - min(ys)) or 1e-6
    y0, y1 = min(ys) - pad, max(ys) + pad

    def at(x: float, y: float) -> tuple[float, float]:
        return (
            LEFT + (WIDTH - LEFT - RIGHT) * (x - x0) / (x1 - x0),
            HEIGHT - BOTTOM - (HEIGHT - TOP - BOTTOM) * (y - y0) / (y1 - y0),
        )

    parts = []
    for i in range(5):
        value = y0 + (y1 - y0) * i / 4
        _, y = at(x0, value)
        parts.append(
            f'<line x1="{LEFT}" x2="{WIDTH - RIGHT}" y1="{y:.1f}" y2="{y:.1f}" stroke="{RULE}"/>'
        )
        parts.append(mark_text(LEFT - 30, y + 4, f"{value:.4g}", fill=INK))
    for i in range(6):
        value = x0 + (x1 - x0) * i / 5
        x, _ = at(value, y0)
        parts.append(mark_text(x, HEIGHT - 12, f"{value:.3g}", fill=INK))
    for w in report.windows:
        if w.position is not None and x0 <= w.position <= x1:
            x, low = at(w.position, w.low_kg_s)
            _, high = at(w.position, w.high_kg_s)
            parts.append(
                f'<rect x="{x - 9:.1f}" width="18" y="{high:.1f}" height="{low - high:.1f}" fill="none" '
                f'stroke="{ACCENT}" stroke-width="1.6" stroke-dasharray="5 3"/>'
            )
    line = " ".join(f"{a:.1f},{b:.1f}" for a, b in (at(x, y) for x, y in report.curve))
    parts.append(f'<polyline points="{line}" fill="none" stroke="{FADED}" stroke-width="1.8"/>')
    for x, y, way in points:
        a, b = at(float(x), y)
        fill = INK if way == "opening" else "none"
        parts.append(
            f'<circle cx="{a:.1f}" cy="{b:.1f}" r="4" fill="{fill}" stroke="{INK}" stroke-width="1.6"/>'
        )
    return (
        f'<svg xmlns="http://www.w3.org/2000/svg" viewBox="0 0 {WIDTH} {HEIGHT}">'
        f"<title>{escape(say(Said('alt.flow')))}</title>{''.join(parts)}</svg>"
    )
