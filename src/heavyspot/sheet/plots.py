"""The drawings of a sheet as SVG: the curve against its limit, and the dial with the cuts."""

from __future__ import annotations

import math
from collections.abc import Callable, Sequence
from dataclasses import dataclass
from html import escape

import numpy as np

from ..quantities.angles import Rotation
from ..quantities.said import Said, in_words
from .cartridge import SheetCut, SheetReport
from .drawn import CurvesView, PathPoint

Say = Callable[[Said], str]
"""Returns what a drawing says in the sheet's language."""

INK = "#22262b"
FADED = "#9a927f"
RULE = "#d9d2c0"
ACCENT = "#b5371f"
FONT = 'font-family="Libertinus Serif"'

DIAL_SIZE = 260
RIM_SHARE = 0.34
"""The rim's radius as a share of the dial's size."""
MOST_REACH = 1.15
"""How far past the rim, as a share of it, a vector is drawn at most."""


@dataclass(frozen=True)
class Look:
    """Colours of a drawing; a page gives its own, so that light and dark are both readable."""

    ink: str = INK
    faded: str = FADED
    rule: str = RULE
    accent: str = ACCENT


PRINT = Look()
ON_PAGE = Look("var(--ink)", "var(--faded)", "var(--rule)", "var(--heavy)")


@dataclass(frozen=True)
class _Frame:
    """The axes of a drawing: speed to the right, g upwards."""

    width: int
    height: int
    top_rpm: float
    top_g: float
    left: int = 52
    right: int = 34
    top: int = 14
    bottom: int = 40

    def x(self, rpm: float) -> float:
        return self.left + (self.width - self.left - self.right) * rpm / self.top_rpm

    def y(self, g: float) -> float:
        span = self.height - self.top - self.bottom
        return self.height - self.bottom - span * min(g, self.top_g) / self.top_g

    def axes(self, look: Look, say: Say = in_words) -> list[str]:
        foot, end = self.height - self.bottom, self.width - self.right
        parts = [
            f'<rect x="{self.left}" y="{self.top}" width="{end - self.left}" '
            f'height="{foot - self.top}" fill="none" stroke="{look.rule}"/>'
        ]
        step_g = _step(self.top_g, 5)
        for i in range(int(self.top_g / step_g + 1e-9) + 1):
            g, y = i * step_g, self.y(i * step_g)
            label = f"{g:.2f}".rstrip("0").rstrip(".") or "0"
            parts += [
                f'<line x1="{self.left}" x2="{end}" y1="{y:.1f}" y2="{y:.1f}" stroke="{look.rule}"/>',
                _text(self.left - 7, y + 4, label, anchor="end", fill=look.ink),
            ]
        step_rpm = _step(self.top_rpm, 7)
        for i in range(int(self.top_rpm / step_rpm) + 1):
            x = self.x(i * step_rpm)
            label = f"{i * step_rpm:,.0f}".replace(",", " ")
            parts += [
                f'<line x1="{x:.1f}" x2="{x:.1f}" y1="{foot}" y2="{foot + 5}" stroke="{look.faded}"/>',
                _text(x, foot + 18, label, anchor="middle", fill=look.ink),
            ]
        unit = say(Said("drawing.axis_rpm"))
        parts.append(_text(end, self.height - 6, unit, anchor="end", fill=look.ink))
        words = say(Said("drawing.axis_g"))
        parts.append(_text(self.left + 6, self.top + 15, words, fill=look.faded))
        return parts

    def line(
        self, xs: Sequence[float], ys: Sequence[float], color: str, width: float, dash: str = ""
    ) -> str:
        points = " ".join(f"{self.x(a):.1f},{self.y(b):.1f}" for a, b in zip(xs, ys, strict=True))
        dashes = f' stroke-dasharray="{dash}"' if dash else ""
        return (
            f'<polyline points="{points}" fill="none" stroke="{color}" stroke-width="{width}" '
            f'stroke-linejoin="round"{dashes}/>'
        )

    def limit(
        self, speeds: Sequence[float], limits: Sequence[float], look: Look, say: Say = in_words
    ) -> list[str]:
        at = [0.0, *[s for s in speeds if 0 < s < self.top_rpm], self.top_rpm]
        values = [float(np.interp(s, speeds, limits)) for s in at]
        words = say(Said("drawing.limit_g", {"limit_g": values[0]}))
        return [
            self.line(at, values, look.accent, 1.6),
            _text(self.left + 6, self.y(values[0]) - 5, words, fill=look.accent),
        ]


def _svg(width: int, height: int, parts: list[str], name: str = "") -> str:
    title = f"<title>{escape(name)}</title>" if name else ""
    return (
        f'<svg xmlns="http://www.w3.org/2000/svg" viewBox="0 0 {width} {height}">'
        + title
        + "".join(parts)
        + "</svg>"
    )


def curve_svg(
    report: SheetReport, *, width: int = 720, height: int = 335, say: Say = in_words
) -> str:
    """Return the last curve in front of the first one, with the limit over speed."""
    last, first = report.last, report.first
    peak = max(max(last.amplitude_g), max(first.amplitude_g) if first else 0.0)
    frame = _Frame(
        width,
        height,
        max(last.speed_rpm[-1], report.test_speed_rpm) * 1.01,
        _nice(max(1.12 * peak, 1.3 * max(report.limit_g))),
    )
    parts = frame.axes(PRINT, say)
    if first is not None:
        parts.append(frame.line(first.speed_rpm, first.amplitude_g, FADED, 1.3, "5 3"))
    parts += frame.limit(report.limit_speed_rpm, report.limit_g, PRINT, say)
    parts.append(frame.line(last.speed_rpm, last.amplitude_g, INK, 2.4))
    parts.append(
        f'<circle cx="{frame.x(report.worst_speed_rpm):.1f}" cy="{frame.y(report.worst_g):.1f}" '
        f'r="4" fill="none" stroke="{INK}" stroke-width="1.6"/>'
    )
    return _svg(width, height, parts)


def runs_svg(
    view: CurvesView,
    *,
    name: str,
    number: int | None = None,
    look: Look | None = None,
    width: int = 720,
    height: int = 350,
) -> str:
    """Return a piece's runs: one in ink, the others faded, and the limit.

    Parameters
    ----------
    view : CurvesView
    name : str
        Title for those who cannot see it.
    number : int, optional
        The run in ink; the last one when not given.
    """
    look = look or PRINT
    speed = view.speed_rpm
    runs = [(r.number, _known(speed, r.amplitude_g)) for r in view.runs]
    newest = max((n for n, _ in runs), default=0)
    number = number if number is not None else newest
    limit = _known(speed, view.limit_g)
    shown = [*(r.amplitude_g for r in view.runs), *(o.amplitude_g for o in view.others)]
    peak = max([g for row in shown for g in row if g is not None], default=0.0)
    frame = _Frame(width, height, speed[-1], _nice(max(1.12 * peak, 1.3 * max(limit[1]))))
    parts = frame.axes(look)
    parts += [frame.line(*points, look.faded, 1.3, "5 3") for n, points in runs if n != number]
    parts += frame.limit(*limit, look)
    others = [(o.sensor, _known(speed, o.amplitude_g)) for o in view.others if number == newest]
    for sensor, points in others:
        parts.append(frame.line(*points, look.ink, 1.2, "1 3"))
        if points[0]:
            parts.append(
                _text(frame.x(points[0][-1]) - 4, frame.y(points[1][-1]) - 5, sensor, anchor="end")
            )
    parts += [frame.line(*points, look.ink, 2.4) for n, points in runs if n == number]
    return _svg(width, height, parts, name)


def _known(xs: Sequence[float], ys: Sequence[float | None]) -> tuple[list[float], list[float]]:
    pairs = [(x, y) for x, y in zip(xs, ys, strict=True) if y is not None]
    return [x for x, _ in pairs], [y for _, y in pairs]


def dial_svg(
    cuts: tuple[SheetCut, ...],
    rotation: Rotation,
    *,
    size: int = DIAL_SIZE,
    look: Look = PRINT,
) -> str:
    """Return the rotor seen from the nut, mark at 12 o'clock, with the numbered cuts.

    Angles grow against rotation: counterclockwise on the page for a clockwise rotor.
    """
    ink, faded, accent = look.ink, look.faded, look.accent
    c, r = size / 2, size * RIM_SHARE
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


def path_svg(path: Sequence[PathPoint], rotation: Rotation, *, size: int = DIAL_SIZE) -> str:
    """Return the vector's path from run to run, to lie over the dial: the rim is twice the limit.

    Coloured by the page's own styles, so that it is readable on light and dark.
    """
    c, r = size / 2, size * RIM_SHARE
    sign = -1.0 if rotation == "clockwise" else 1.0
    points = []
    for p in path:
        a = math.radians(sign * p.angle_deg)
        reach = r * min(MOST_REACH, p.share)
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


def _text(
    x: float, y: float, text: str, *, anchor: str = "start", fill: str = INK, size: int = 13
) -> str:
    return (
        f'<text x="{x:.1f}" y="{y:.1f}" {FONT} font-size="{size}" text-anchor="{anchor}" '
        f'fill="{fill}">{escape(text)}</text>'
    )


def mark_text(x: float, y: float, text: str, *, fill: str) -> str:
    """Return a centred label of a drawing."""
    return _text(x, y, text, anchor="middle", fill=fill)


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
