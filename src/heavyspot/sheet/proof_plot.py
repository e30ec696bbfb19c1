"""A machine's proof, drawn: each reading against its position, with its limits."""

from __future__ import annotations

from collections.abc import Sequence
from html import escape

from ..balance.rotor.machine_proof import ProofPoint
from .plots import PRINT, Look, mark_text


def proof_svg(
    name: str,
    points: Sequence[ProofPoint],
    *,
    width: int = 420,
    height: int = 220,
    look: Look = PRINT,
) -> str:
    """Return the readings in order with the band they must lie in.

    Parameters
    ----------
    points : sequence of ProofPoint
        At least one.
    """
    left, right, top, foot = 46, 12, 12, height - 34
    lowest = min(min(p.value, p.low) for p in points)
    highest = max(max(p.value, p.high) for p in points)
    margin = 0.08 * (highest - lowest) or 1.0
    low, high = lowest - margin, highest + margin

    def x(i: float) -> float:
        return left + (width - left - right) * (i + 0.5) / len(points)

    def y(v: float) -> float:
        return foot - (foot - top) * (v - low) / (high - low)

    band = " ".join(f"{x(i):.1f},{y(p.high):.1f}" for i, p in enumerate(points))
    under = " ".join(f"{x(i):.1f},{y(p.low):.1f}" for i, p in enumerate(points))
    parts = [
        f'<svg xmlns="http://www.w3.org/2000/svg" viewBox="0 0 {width} {height}"><title>{escape(name)}</title>',
        f'<rect x="{left}" y="{top}" width="{width - left - right}" height="{foot - top}" fill="none" '
        f'stroke="{look.rule}"/>',
        *(
            f'<polyline points="{line}" fill="none" stroke="{look.accent}" stroke-width="1.6"/>'
            for line in (band, under)
        ),
    ]
    for value in (points[0].low, points[0].high):
        parts.append(mark_text(left - 22, y(value) + 4, f"{value:.3g}", fill=look.ink))
    for i, p in enumerate(points):
        color = look.ink if p.inside else look.accent
        parts.append(f'<circle cx="{x(i):.1f}" cy="{y(p.value):.1f}" r="4.5" fill="{color}"/>')
        if not p.inside:
            parts.append(mark_text(x(i), y(p.value) - 9, f"{p.value:.3g}", fill=color))
        if len(points) <= 8 or i % 2 == 0:  # twelve labels would touch
            parts.append(mark_text(x(i), foot + 18, f"{p.at_deg:.0f}°", fill=look.faded))
    return "".join([*parts, "</svg>"])
