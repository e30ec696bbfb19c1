"""Plane geometry of the drawings: places on a rotor's face, polygons cut by lines, arrows."""

from __future__ import annotations

import math
from collections.abc import Sequence

Point = tuple[float, float]


def towards(angle_deg: float, *, clockwise: bool) -> Point:
    """Return the unit vector on the page of a rotor angle, y downwards, the mark at 12.

    Angles grow against rotation: on a rotor that is seen to turn clockwise they go to the left.

    >>> tuple(round(v, 3) for v in towards(90.0, clockwise=True))
    (-1.0, -0.0)
    """
    turn = math.radians(-angle_deg if clockwise else angle_deg)
    return math.sin(turn), -math.cos(turn)


def clipped(polygon: Sequence[Point], normal: Point, least: float) -> list[Point]:
    """Return the part of a convex polygon whose points lie `least` or further along a normal.

    >>> clipped([(0, 0), (2, 0), (2, 2), (0, 2)], (1, 0), 1.0)
    [(1.0, 0.0), (2, 0), (2, 2), (1.0, 2.0)]
    """
    out: list[Point] = []
    nx, ny = normal
    for (x1, y1), (x2, y2) in zip(polygon, [*polygon[1:], polygon[0]], strict=True):
        from_line, to_line = x1 * nx + y1 * ny - least, x2 * nx + y2 * ny - least
        if from_line >= 0:
            out.append((x1, y1))
        if from_line * to_line < 0:
            t = from_line / (from_line - to_line)
            out.append((x1 + t * (x2 - x1), y1 + t * (y2 - y1)))
    return out


def reach(polygon: Sequence[Point], direction: Point, half_width: float) -> float:
    """Return how far a polygon reaches in a direction within a strip around it; 0 when it does not."""
    side = (-direction[1], direction[0])
    strip = clipped(polygon, side, -half_width)
    strip = clipped(strip, (-side[0], -side[1]), -half_width) if strip else []
    return max((x * direction[0] + y * direction[1] for x, y in strip), default=0.0)


def flat_on(
    polygon: Sequence[Point], direction: Point, depth: float, half_width: float
) -> list[Point]:
    """Return what a flat of that depth takes off a part, measured from where the tool first touches."""
    touch = reach(polygon, direction, half_width)
    side = (-direction[1], direction[0])
    strip = clipped(polygon, side, -half_width)
    strip = clipped(strip, (-side[0], -side[1]), -half_width) if strip else []
    return clipped(strip, direction, touch - depth) if strip else []


def points(polygon: Sequence[Point]) -> str:
    """Return a polygon's points as SVG wants them."""
    return " ".join(f"{x:.1f},{y:.1f}" for x, y in polygon)


def arrow(start: Point, end: Point, look: str, head: float) -> str:
    """Return an arrow; its shaft has the class `look`, its head `look` with an h behind it."""
    (x0, y0), (x1, y1) = start, end
    length = max(math.hypot(x1 - x0, y1 - y0), 1e-6)
    ux, uy = (x1 - x0) / length, (y1 - y0) / length
    head = min(head, 0.42 * length)
    bx, by = x1 - ux * head * 1.7, y1 - uy * head * 1.7
    tip = points([(x1, y1), (bx - uy * head, by + ux * head), (bx + uy * head, by - ux * head)])
    return (
        f'<line class="{look}" x1="{x0:.1f}" y1="{y0:.1f}" x2="{bx:.1f}" y2="{by:.1f}"/>'
        f'<polygon class="{look}h" points="{tip}"/>'
    )


def text(at: Point, words: str, look: str, size: float, anchor: str = "middle") -> str:
    """Return text with its class and size in pixels; `words` are escaped already."""
    return (
        f'<text class="{look}" x="{at[0]:.1f}" y="{at[1]:.1f}" text-anchor="{anchor}" '
        f'font-size="{size:.0f}">{words}</text>'
    )
