"""The picture a customer looks for: the curve as it came, the curve as delivered, and the limit."""

from __future__ import annotations

import math
from collections.abc import Callable, Sequence
from html import escape

import numpy as np

from ..quantities.said import Said, in_words
from .cartridge import SheetCurve, SheetReport
from .plots import FADED, HAIR, INK, Say, nice, step_of

SANS = 'font-family="Sheet Sans"'
GOOD, WASH = "#15616a", "#e4efeb"
PAPER = "#ffffff"
LEFT, RIGHT, TOP, BOTTOM = 40, 112, 22, 42
LINE_PX = 17.0
"""From one line of a label to the next."""


def curve_svg(
    report: SheetReport, *, width: int = 690, height: int = 292, say: Say = in_words
) -> str:
    """Return the delivered curve heavy in front of the first one dashed, the limit ruled over what is allowed."""
    last, first = report.last, report.first
    top_rpm = max(last.speed_rpm[-1], report.test_speed_rpm, first.speed_rpm[-1] if first else 0.0)
    peak = max(max(last.amplitude_g), max(first.amplitude_g) if first else 0.0)
    top_g = nice(max(1.04 * peak, 1.3 * max(report.limit_g)))
    foot, end = height - BOTTOM, width - RIGHT

    def x(rpm: float) -> float:
        return LEFT + (end - LEFT) * rpm / top_rpm

    def y(g: float) -> float:
        return foot - (foot - TOP) * g / top_g

    def path(xs: Sequence[float], ys: Sequence[float]) -> str:
        return " ".join(f"{x(a):.1f},{y(b):.1f}" for a, b in zip(xs, ys, strict=True))

    at = [0.0, *[s for s in report.limit_speed_rpm if 0 < s < top_rpm], top_rpm]
    limits = [float(np.interp(s, report.limit_speed_rpm, report.limit_g)) for s in at]
    limit = path(at, limits)
    parts = [
        f'<polygon points="{x(0):.1f},{foot} {limit} {end},{foot}" fill="{WASH}"/>',
        *_axes(top_g, top_rpm, x, y, end, foot, limits, say),
        f'<polyline points="{limit}" fill="none" stroke="{INK}" stroke-width="2"/>',
        _text(x(0) + 8, y(limits[0]) - 7, say(Said("drawing.house_limit", {"limit_g": limits[0]})), bold=True),
    ]  # fmt: skip
    ends = []
    if first is not None:
        parts.append(
            f'<polyline points="{path(first.speed_rpm, first.amplitude_g)}" fill="none" stroke="{FADED}" '
            'stroke-width="2" stroke-dasharray="2 3.5" stroke-linecap="round" stroke-linejoin="round"/>'
        )
        rpm, g = _peak(first)
        parts.append(
            f'<circle cx="{x(rpm):.1f}" cy="{y(g):.1f}" r="5.5" fill="{PAPER}" stroke="{FADED}" stroke-width="2"/>'
        )
        ends.append(
            (y(first.amplitude_g[-1]), x(first.speed_rpm[-1]), Said("drawing.as_found"), g, False)
        )
    passed = report.verdict == "pass"
    parts.append(
        f'<polyline points="{path(last.speed_rpm, last.amplitude_g)}" fill="none" stroke="{INK}" '
        'stroke-width="3.4" stroke-linejoin="round"/>'
    )
    parts.append(_mark(x(report.worst_speed_rpm), y(report.worst_g), passed))
    word = Said("drawing.as_delivered" if passed else "drawing.as_measured")
    ends.append((y(last.amplitude_g[-1]), x(last.speed_rpm[-1]), word, report.worst_g, True))
    parts += _ends(ends, end, foot, passed, say)
    return (
        f'<svg xmlns="http://www.w3.org/2000/svg" viewBox="0 0 {width} {height}">'
        f"{''.join(parts)}</svg>"
    )


def _axes(
    top_g: float,
    top_rpm: float,
    x: Callable[[float], float],
    y: Callable[[float], float],
    end: float,
    foot: float,
    limits: Sequence[float],
    say: Say,
) -> list[str]:
    parts = []
    step_g = step_of(top_g, 6)
    for i in range(int(top_g / step_g + 1e-9) + 1):
        g = i * step_g
        parts.append(
            f'<line x1="{LEFT}" x2="{end}" y1="{y(g):.1f}" y2="{y(g):.1f}" stroke="{INK if i == 0 else HAIR}"/>'
        )
        if i == 0 or abs(y(g) - y(limits[0])) > 12:
            parts.append(_text(LEFT - 8, y(g) + 5, f"{g:.6g}", anchor="end", fill=FADED))
    parts.append(_text(LEFT - 8, y(limits[0]) + 5, f"{limits[0]:.4g}", anchor="end", bold=True))
    step_rpm = step_of(top_rpm, 6)
    for i in range(int(top_rpm / step_rpm + 1e-9) + 1):
        at = x(i * step_rpm)
        parts.append(
            f'<line x1="{at:.1f}" x2="{at:.1f}" y1="{foot}" y2="{foot + 5}" stroke="{INK}"/>'
        )
        words = f"{i * step_rpm:,.0f}".replace(",", "\u202f")
        parts.append(_text(at, foot + 20, words, anchor="middle", fill=FADED))
    parts.append(_text(end, foot + 38, say(Said("drawing.speed_rpm")), anchor="end", fill=FADED))
    parts.append(_text(LEFT, 12, say(Said("drawing.vibration_g")), fill=FADED))
    return parts


def _ends(
    ends: list[tuple[float, float, Said, float, bool]],
    end: float,
    foot: float,
    passed: bool,
    say: Say,
) -> list[str]:
    """Return the labels at the lines' ends, two lines of text each, none on another."""
    parts = []
    above = sorted(ends, key=lambda e: e[0])
    tops = [min(max(TOP + 4.0, at - 4), foot - LINE_PX - 2) for at, *_ in above]
    for i in range(len(tops) - 1, 0, -1):  # the lower one stays where its line ends
        tops[i - 1] = min(tops[i - 1], tops[i] - 2 * LINE_PX - 6)
    if tops[0] < TOP + 4:  # no room above: the lower one gives way
        tops = [TOP + 4 + i * (2 * LINE_PX + 6) for i in range(len(tops))]
    for top, (at, last_x, word, g, heavy) in zip(tops, above, strict=True):
        color = INK if heavy else FADED
        if last_x < end - 4:  # the line ends before the frame does: a thread leads to its words
            parts.append(
                f'<line x1="{last_x + 4:.1f}" y1="{at:.1f}" x2="{end + 4}" y2="{top:.1f}" stroke="{HAIR}"/>'
            )
        value = say(Said("drawing.value_g", {"value_g": g}))
        parts.append(_text(end + 9, top + 5, say(word), fill=color, bold=heavy))
        tone = (GOOD if passed else INK) if heavy else FADED
        parts.append(_text(end + 9, top + 5 + LINE_PX, value, fill=tone, bold=heavy, size=16))
    return parts


def _mark(x: float, y: float, passed: bool) -> str:
    """Return the highest value's mark: a tick in a disc, or a ring."""
    if not passed:
        return f'<circle cx="{x:.1f}" cy="{y:.1f}" r="6" fill="{PAPER}" stroke="{INK}" stroke-width="2.4"/>'
    return (
        f'<circle cx="{x:.1f}" cy="{y:.1f}" r="7" fill="{GOOD}"/>'
        f'<path d="M {x - 3.2:.1f} {y + 0.3:.1f} l 2.3 2.3 l 4.2 -5" fill="none" stroke="{PAPER}" '
        'stroke-width="1.8"/>'
    )


def _peak(curve: SheetCurve) -> tuple[float, float]:
    i = int(np.argmax(curve.amplitude_g))
    return curve.speed_rpm[i], curve.amplitude_g[i]


def calmer(report: SheetReport) -> int:
    """Return how many times lower its highest value is than the first run's, rounded down; 0 where under twice.

    No range of speeds is left out of either: the first run may have ended below test speed, which only
    makes this smaller than it was.
    """
    if report.first is None or report.verdict != "pass":
        return 0
    times = math.floor(_peak(report.first)[1] / max(report.last.amplitude_g))
    return times if times >= 2 else 0


def _text(
    x: float,
    y: float,
    words: str,
    *,
    anchor: str = "start",
    fill: str = INK,
    bold: bool = False,
    size: float = 14.5,
) -> str:
    weight = ' font-weight="600"' if bold else ""
    return (
        f'<text x="{x:.1f}" y="{y:.1f}" {SANS} font-size="{size}"{weight} text-anchor="{anchor}" '
        f'fill="{fill}">{escape(words)}</text>'
    )
