"""The drawings of a sheet as SVG: the curve against its limit, and the dial with the cuts."""

from __future__ import annotations

import math
from collections.abc import Callable, Sequence
from html import escape

import numpy as np

from ..quantities.angles import Rotation
from ..workshop.report import SheetCut, SheetReport

INK = "#22262b"
FADED = "#9a927f"
RULE = "#d9d2c0"
ACCENT = "#b5371f"
FONT = 'font-family="Libertinus Serif"'


def curve_svg(report: SheetReport, *, width: int = 720, height: int = 350) -> str:
    """Return the last curve in front of the first one, with the limit over speed."""
    left, right, top, bottom = 52, 16, 14, 40
    last, first = report.last, report.first
    highest_rpm = max(last.speed_rpm[-1], report.test_speed_rpm) * 1.01
    peak = max(max(last.amplitude_g), max(first.amplitude_g) if first else 0.0)
    limit_top = max(report.limit_g)
    highest_g = _nice(max(1.12 * peak, 1.3 * limit_top))

    def x(rpm: float) -> float:
        return left + (width - left - right) * rpm / highest_rpm

    def y(g: float) -> float:
        return height - bottom - (height - top - bottom) * min(g, highest_g) / highest_g

    parts = [
        f'<svg xmlns="http://www.w3.org/2000/svg" viewBox="0 0 {width} {height}">',
        f'<rect x="{left}" y="{top}" width="{width - left - right}" height="{height - top - bottom}" '
        f'fill="none" stroke="{RULE}"/>',
    ]
    step_g = _step(highest_g, 5)
    for i in range(int(highest_g / step_g + 1e-9) + 1):
        g = i * step_g
        parts.append(
            f'<line x1="{left}" x2="{width - right}" y1="{y(g):.1f}" y2="{y(g):.1f}" stroke="{RULE}"/>'
        )
        parts.append(
            _text(left - 7, y(g) + 4, f"{g:.2f}".rstrip("0").rstrip(".") or "0", anchor="end")
        )
    step_rpm = _step(highest_rpm, 7)
    for i in range(int(highest_rpm / step_rpm) + 1):
        rpm = i * step_rpm
        parts.append(
            f'<line x1="{x(rpm):.1f}" x2="{x(rpm):.1f}" y1="{height - bottom}" '
            f'y2="{height - bottom + 5}" stroke="{FADED}"/>'
        )
        parts.append(
            _text(x(rpm), height - bottom + 18, f"{rpm:,.0f}".replace(",", " "), anchor="middle")
        )
    parts.append(_text(width - right, height - 6, "rpm", anchor="end"))
    parts.append(_text(left + 6, top + 15, "g, once per turn, zero to peak", fill=FADED))
    if first is not None:
        parts.append(_line(first.speed_rpm, first.amplitude_g, x, y, FADED, 1.3, dash="5 3"))
    speeds = [0.0, *[s for s in report.limit_speed_rpm if 0 < s < highest_rpm], highest_rpm]
    limits = [float(np.interp(s, report.limit_speed_rpm, report.limit_g)) for s in speeds]
    parts.append(_line(tuple(speeds), tuple(limits), x, y, ACCENT, 1.6))
    parts.append(_text(left + 6, y(limits[0]) - 5, f"limit {limits[0]:g} g", fill=ACCENT))
    parts.append(_line(last.speed_rpm, last.amplitude_g, x, y, INK, 2.4))
    parts.append(
        f'<circle cx="{x(report.worst_speed_rpm):.1f}" cy="{y(report.worst_g):.1f}" r="4" '
        f'fill="none" stroke="{INK}" stroke-width="1.6"/>'
    )
    parts.append("</svg>")
    return "".join(parts)


def dial_svg(
    cuts: tuple[SheetCut, ...],
    rotation: Rotation,
    *,
    size: int = 260,
    ink: str = INK,
    faded: str = FADED,
    accent: str = ACCENT,
) -> str:
    """Return the rotor seen from the nut, mark at 12 o'clock, with the numbered cuts.

    Angles grow against rotation: counterclockwise on the page for a clockwise rotor.
    """
    c, r = size / 2, size * 0.34
    sign = -1.0 if rotation == "clockwise" else 1.0

    def at(angle_deg: float, radius: float) -> tuple[float, float]:
        a = math.radians(sign * angle_deg)
        return c + radius * math.sin(a), c - radius * math.cos(a)

    parts = [
        f'<svg xmlns="http://www.w3.org/2000/svg" viewBox="0 0 {size} {size}">',
        f'<circle cx="{c}" cy="{c}" r="{r}" fill="none" stroke="{ink}" stroke-width="1.6"/>',
        f'<circle cx="{c}" cy="{c}" r="{0.12 * r:.1f}" fill="none" stroke="{faded}"/>',
    ]
    for angle in range(0, 360, 30):
        (x1, y1), (x2, y2) = at(angle, r), at(angle, r * (1.08 if angle % 90 else 1.12))
        parts.append(
            f'<line x1="{x1:.1f}" y1="{y1:.1f}" x2="{x2:.1f}" y2="{y2:.1f}" stroke="{ink}"/>'
        )
        if angle % 90 == 0:
            tx, ty = at(angle, r * 1.29)
            parts.append(_text(tx, ty + 4, f"{angle}°", anchor="middle", fill=faded))
    mx, my = at(0, r)
    parts.append(
        f'<path d="M {mx - 7:.1f} {my - 1:.1f} L {mx + 7:.1f} {my - 1:.1f} L {mx:.1f} {my + 11:.1f} Z" '
        f'fill="{ink}"/>'
    )
    parts.append(_arrow(c, 0.32 * r, sign, faded))
    for i, cut in enumerate(cuts, start=1):
        (x1, y1), (x2, y2) = at(cut.angle_deg - 9, r), at(cut.angle_deg + 9, r)
        sweep = 0 if sign < 0 else 1
        parts.append(
            f'<path d="M {x1:.1f} {y1:.1f} A {r} {r} 0 0 {sweep} {x2:.1f} {y2:.1f} Z" '
            f'fill="{accent}" stroke="{accent}" stroke-width="3"/>'
        )
        tx, ty = at(cut.angle_deg, r * 0.8)
        parts.append(_text(tx, ty + 5, str(i), anchor="middle", fill=accent, size=16))
    parts.append("</svg>")
    return "".join(parts)


def path_svg(path: list[dict[str, float]], rotation: Rotation, *, size: int = 260) -> str:
    """Return the vector's path from run to run, to lie over the dial: the rim is twice the limit.

    Coloured by the page's own styles, so that it is readable on light and dark.
    """
    c, r = size / 2, size * 0.34
    sign = -1.0 if rotation == "clockwise" else 1.0
    points = []
    for p in path:
        a = math.radians(sign * p["angle_deg"])
        reach = r * min(1.15, p["share"])
        points.append((c + reach * math.sin(a), c - reach * math.cos(a)))
    line = " ".join(f"{x:.1f},{y:.1f}" for x, y in points)
    dots = "".join(
        f'<circle cx="{x:.1f}" cy="{y:.1f}" r="{6 if i == len(points) - 1 else 4}" '
        f'class="{"last" if i == len(points) - 1 else "old"}"/>'
        for i, (x, y) in enumerate(points)
    )
    return (
        f'<svg class="path" viewBox="0 0 {size} {size}" aria-hidden="true">'
        f'<circle cx="{c}" cy="{c}" r="{r / 2:.1f}" class="allowed"/>'
        f'<polyline points="{line}"/>{dots}</svg>'
    )


def _arrow(c: float, r: float, sign: float, faded: str) -> str:
    """The direction of rotation: against the angles."""
    spin = -sign
    a0, a1 = math.radians(-55 * spin), math.radians(55 * spin)
    x0, y0 = c + r * math.sin(a0), c - r * math.cos(a0)
    x1, y1 = c + r * math.sin(a1), c - r * math.cos(a1)
    back = math.radians(28 * spin)
    hx, hy = c + r * 1.28 * math.sin(back), c - r * 1.28 * math.cos(back)
    lx, ly = c + r * 0.72 * math.sin(back), c - r * 0.72 * math.cos(back)
    sweep = 1 if spin > 0 else 0
    return (
        f'<path d="M {x0:.1f} {y0:.1f} A {r} {r} 0 0 {sweep} {x1:.1f} {y1:.1f}" fill="none" '
        f'stroke="{faded}" stroke-width="2"/>'
        f'<path d="M {hx:.1f} {hy:.1f} L {x1:.1f} {y1:.1f} L {lx:.1f} {ly:.1f}" fill="none" '
        f'stroke="{faded}" stroke-width="2"/>'
    )


def _line(
    xs: Sequence[float],
    ys: Sequence[float],
    x: Callable[[float], float],
    y: Callable[[float], float],
    color: str,
    width: float,
    dash: str = "",
) -> str:
    points = " ".join(f"{x(a):.1f},{y(b):.1f}" for a, b in zip(xs, ys, strict=True))
    dashes = f' stroke-dasharray="{dash}"' if dash else ""
    return (
        f'<polyline points="{points}" fill="none" stroke="{color}" stroke-width="{width}" '
        f'stroke-linejoin="round"{dashes}/>'
    )


def _text(
    x: float, y: float, text: str, *, anchor: str = "start", fill: str = INK, size: int = 13
) -> str:
    return (
        f'<text x="{x:.1f}" y="{y:.1f}" {FONT} font-size="{size}" text-anchor="{anchor}" '
        f'fill="{fill}">{escape(text)}</text>'
    )


def _step(span: float, most: int) -> float:
    """Return a round step that divides the span into at most that many."""
    power = 10.0 ** math.floor(math.log10(span))
    for factor in (0.1, 0.2, 0.25, 0.5, 1.0, 2.0):
        if span / (factor * power) <= most:
            return factor * power
    return 2.0 * power


def _nice(value: float) -> float:
    step = _step(value, 5)
    return math.ceil(value / step - 1e-9) * step
