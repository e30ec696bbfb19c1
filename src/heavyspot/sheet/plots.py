"""What the drawings of sheets and runs share, and a piece's runs on one pair of axes."""

from __future__ import annotations

import math
from collections.abc import Callable, Sequence
from dataclasses import dataclass
from html import escape

import numpy as np

from ..quantities.said import Said, in_words
from .drawn import CurvesView

Say = Callable[[Said], str]
"""Returns what a drawing says in the sheet's language."""

INK = "#1b1f24"
FADED = "#575040"
RULE = "#cdc3ab"
HAIR = "#e6decb"
ACCENT = "#b5371f"
FONT = 'font-family="Sheet Sans"'


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
        step_g = step_of(self.top_g, 5)
        for i in range(int(self.top_g / step_g + 1e-9) + 1):
            g, y = i * step_g, self.y(i * step_g)
            label = f"{g:.2f}".rstrip("0").rstrip(".") or "0"
            parts += [
                f'<line x1="{self.left}" x2="{end}" y1="{y:.1f}" y2="{y:.1f}" stroke="{look.rule}"/>',
                _text(self.left - 7, y + 4, label, anchor="end", fill=look.ink),
            ]
        step_rpm = step_of(self.top_rpm, 7)
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
    frame = _Frame(width, height, speed[-1], nice(max(1.12 * peak, 1.3 * max(limit[1]))))
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


def step_of(span: float, most: int) -> float:
    """Return a round step that divides a span into at most so many.

    >>> step_of(1.3, 5), step_of(150_000, 6)
    (0.5, 25000.0)
    """
    if span <= 0:
        return 1.0
    power = 10.0 ** math.floor(math.log10(span / most))
    return next(f * power for f in (1, 2, 2.5, 5, 10, 20) if span / (f * power) <= most + 1e-9)


def nice(value: float) -> float:
    """Return the next round value above."""
    step = step_of(value, 5)
    return math.ceil(value / step - 1e-9) * step
