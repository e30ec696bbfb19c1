"""A residual in a tolerance plane, drawn: the limit a circle, before and after as vectors."""

from __future__ import annotations

import math
from collections.abc import Sequence
from html import escape

from ..quantities.angles import Rotation
from ..quantities.said import Said, in_words
from .plots import PRINT, Look, Say, mark_text

REACH = 2.0
"""The rim is so many times the limit; longer vectors end there with an arrow and their ratio."""

Vector = tuple[float, float, float]


def polar_svg(
    name: str,
    limit_gmm: float,
    vectors: Sequence[Vector],
    rotation: Rotation,
    *,
    size: int = 300,
    look: Look = PRINT,
    say: Say = in_words,
) -> str:
    """Return the plane seen from support A's side, mark at 12 o'clock.

    Parameters
    ----------
    vectors : sequence of (amount g·mm, angle degrees, radius of the circle of uncertainty g·mm)
        In order; the last one is drawn in ink, those before faded.
    """
    c, rim = size / 2, size * 0.37
    scale = rim / (REACH * limit_gmm)
    sign = -1.0 if rotation == "clockwise" else 1.0

    def at(angle_deg: float, radius: float) -> tuple[float, float]:
        a = math.radians(sign * angle_deg)
        return c + radius * math.sin(a), c - radius * math.cos(a)

    parts = [
        f'<svg xmlns="http://www.w3.org/2000/svg" viewBox="0 0 {size} {size}">'
        f"<title>{escape(name)}</title>",
        f'<circle cx="{c}" cy="{c}" r="{rim:.1f}" fill="none" stroke="{look.rule}"/>',
        f'<circle cx="{c}" cy="{c}" r="{rim / REACH:.1f}" fill="none" stroke="{look.ink}" stroke-width="1.6"/>',
    ]
    for angle in range(0, 360, 30):
        (x1, y1), (x2, y2) = at(angle, rim), at(angle, rim * 1.05)
        parts.append(
            f'<line x1="{x1:.1f}" y1="{y1:.1f}" x2="{x2:.1f}" y2="{y2:.1f}" stroke="{look.faded}"/>'
        )
        if angle % 90 == 0:
            tx, ty = at(angle, rim * 1.18)
            parts.append(mark_text(tx, ty + 4, f"{angle}°", fill=look.faded))
    below = all(abs((angle % 360.0) - 180.0) > 60.0 for _, angle, _ in vectors)
    words_y = c + rim / REACH + 15 if below else c - rim / REACH - 7
    limit = say(Said("drawing.limit_gmm", {"limit_gmm": limit_gmm}))
    parts.append(mark_text(c, words_y, limit, fill=look.ink))
    for i, (amount, turned, circle) in enumerate(vectors):
        color = look.ink if i == len(vectors) - 1 else look.faded
        length = amount * scale
        x, y = at(turned, min(length, rim))
        parts.append(
            f'<line x1="{c}" y1="{c}" x2="{x:.1f}" y2="{y:.1f}" stroke="{color}" stroke-width="2.4"/>'
        )
        if length > rim:
            (ax, ay), (bx, by) = at(turned - 4, rim * 0.93), at(turned + 4, rim * 0.93)
            parts.append(
                f'<path d="M {ax:.1f} {ay:.1f} L {x:.1f} {y:.1f} L {bx:.1f} {by:.1f} Z" fill="{color}"/>'
            )
            tx, ty = at(turned + 11, rim * 0.8)
            parts.append(mark_text(tx, ty + 4, f"{amount / limit_gmm:.1f} x", fill=color))
        else:
            parts.append(f'<circle cx="{x:.1f}" cy="{y:.1f}" r="3.5" fill="{color}"/>')
            if circle * scale > 4:
                parts.append(
                    f'<circle cx="{x:.1f}" cy="{y:.1f}" r="{min(circle * scale, rim):.1f}" fill="none" '
                    f'stroke="{color}" stroke-dasharray="4 3"/>'
                )
    parts.append("</svg>")
    return "".join(parts)
