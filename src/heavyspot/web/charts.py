"""Small charts as SVG in the page: lines and dashed limits; the table beside holds the numbers."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from html import escape

from markupsafe import Markup

WIDTH, HEIGHT = 720, 260
LEFT, RIGHT, TOP, BOTTOM = 56, 12, 28, 34
DASHES = ("", "9 4", "3 4", "12 4 3 4")


@dataclass(frozen=True)
class Line:
    """One line of a chart.

    Attributes
    ----------
    name : str
    points : sequence of (float, float)
    """

    name: str
    points: Sequence[tuple[float, float]]


def line_chart(
    lines: Sequence[Line],
    *,
    title: str,
    x_label: str,
    y_label: str,
    limits: Sequence[float] = (),
    y_from: float | None = None,
    y_to: float | None = None,
    x_ends: tuple[str, str] | None = None,
) -> Markup:
    """Return a chart; each line has a dash of its own and its name at its end, so that no colour is needed."""
    xs = [x for line in lines for x, _ in line.points]
    ys = [y for line in lines for _, y in line.points] + list(limits)
    if not xs:
        return Markup("")
    x0, x1 = min(xs), max(max(xs), min(xs) + 1e-9)
    y0 = min(ys) if y_from is None else y_from
    y1 = max(max(ys) if y_to is None else y_to, y0 + 1e-9)

    def at(x: float, y: float) -> tuple[float, float]:
        return (
            LEFT + (WIDTH - LEFT - RIGHT) * (x - x0) / (x1 - x0),
            HEIGHT - BOTTOM - (HEIGHT - TOP - BOTTOM) * (y - y0) / (y1 - y0),
        )

    parts = [f"<title>{escape(title)}</title>"]
    for i in range(5):
        value = y0 + (y1 - y0) * i / 4
        _, y = at(x0, value)
        parts.append(
            f'<line class="grid" x1="{LEFT}" x2="{WIDTH - RIGHT}" y1="{y:.1f}" y2="{y:.1f}"/>'
        )
        parts.append(f'<text x="{LEFT - 6}" y="{y + 4:.1f}" text-anchor="end">{value:.3g}</text>')
    ends = x_ends or (f"{x0:.4g}", f"{x1:.4g}")
    foot = HEIGHT - 12
    parts.append(f'<text x="{LEFT}" y="{foot}">{escape(ends[0])}</text>')
    parts.append(f'<text x="{WIDTH - RIGHT}" y="{foot}" text-anchor="end">{escape(ends[1])}</text>')
    parts.append(
        f'<text x="{(LEFT + WIDTH) / 2}" y="{foot}" text-anchor="middle">{escape(x_label)}</text>'
    )
    parts.append(f'<text x="{LEFT}" y="{TOP - 12}">{escape(y_label)}</text>')
    for limit in limits:
        _, y = at(x0, limit)
        parts.append(
            f'<line class="lim" x1="{LEFT}" x2="{WIDTH - RIGHT}" y1="{y:.1f}" y2="{y:.1f}"/>'
        )
    for i, line in enumerate(lines):
        if not line.points:
            continue
        points = " ".join(f"{a:.1f},{b:.1f}" for a, b in (at(x, y) for x, y in line.points))
        dash = f' stroke-dasharray="{DASHES[i % 4]}"' if i % 4 else ""
        parts.append(f'<polyline class="line" points="{points}"{dash}/>')
        if len(lines) > 1:
            a, b = at(*line.points[-1])
            x, y = min(a, WIDTH - RIGHT), b - 5
            parts.append(
                f'<text x="{x:.1f}" y="{y:.1f}" text-anchor="end">{escape(line.name)}</text>'
            )
    return Markup(
        f'<svg class="chart-svg" role="img" viewBox="0 0 {WIDTH} {HEIGHT}">{"".join(parts)}</svg>'
    )


def steps(
    points: Sequence[tuple[float, float]], start: tuple[float, float]
) -> list[tuple[float, float]]:
    """Return points as steps: each value holds until the next."""
    out = [start]
    for x, y in points:
        out += [(x, out[-1][1]), (x, y)]
    return out
