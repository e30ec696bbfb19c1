"""Where material came off: the rotor's clock face with its numbered cuts, seen from where they were ground."""

from __future__ import annotations

import math

from ..quantities.angles import Rotation
from .cartridge import SheetCut
from .plots import ACCENT, FADED, INK

SANS = 'font-family="Sheet Sans"'


def cut_dial_svg(
    cuts: tuple[SheetCut, ...], rotation: Rotation, *, size: int = 170, accent: str = ACCENT
) -> str:
    """Return the face: mark at 12, the arrow the rotation, each cut a thick arc with its number.

    Parameters
    ----------
    cuts : tuple of SheetCut
        Those seen from one side; `number` is written inside.
    rotation : Rotation
        As it is seen from that side; angles grow against it.
    """
    c, rim = size / 2, size * 0.32
    sign = -1.0 if rotation == "clockwise" else 1.0

    def at(angle_deg: float, radius: float) -> tuple[float, float]:
        a = math.radians(sign * angle_deg)
        return c + radius * math.sin(a), c - radius * math.cos(a)

    def clock(hour: int, radius: float) -> tuple[float, float]:
        a = math.radians(30.0 * hour)
        return c + radius * math.sin(a), c - radius * math.cos(a)

    parts = [
        f'<circle cx="{c}" cy="{c}" r="{rim:.1f}" fill="none" stroke="{INK}" stroke-width="2.4"/>'
    ]
    for hour in range(12):
        (x1, y1), (x2, y2) = clock(hour, rim), clock(hour, rim * (0.87 if hour % 3 else 0.79))
        parts.append(
            f'<line x1="{x1:.1f}" y1="{y1:.1f}" x2="{x2:.1f}" y2="{y2:.1f}" stroke="{INK}"/>'
        )
        if hour % 3 == 0:
            tx, ty = clock(hour, rim * 1.29)
            parts.append(_text(tx, ty + 5, str(hour or 12), FADED, 15))
    parts.append(f'<path d="M {c - 9} {c - rim - 1:.1f} h 18 l -9 15 z" fill="{INK}"/>')
    parts.append(_arrow(c, 0.5 * rim, clockwise=rotation == "clockwise"))
    for cut in cuts:
        (x1, y1), (x2, y2) = at(cut.angle_deg - 13, rim * 0.87), at(cut.angle_deg + 13, rim * 0.87)
        sweep = 0 if sign < 0 else 1
        r = rim * 0.87
        parts.append(
            f'<path d="M {x1:.1f} {y1:.1f} A {r:.1f} {r:.1f} 0 0 {sweep} {x2:.1f} {y2:.1f}" fill="none" '
            f'stroke="{accent}" stroke-width="8"/>'
        )
        tx, ty = at(cut.angle_deg, rim * 0.53)
        parts.append(_text(tx, ty + 6, str(cut.number), accent, 18, bold=True))
    return f'<svg xmlns="http://www.w3.org/2000/svg" viewBox="0 0 {size} {size}">{"".join(parts)}</svg>'


def _arrow(c: float, r: float, *, clockwise: bool) -> str:
    spin = 1 if clockwise else -1
    a = math.radians(42)
    x0, x1, y = c - spin * r * math.sin(a), c + spin * r * math.sin(a), c - r * math.cos(a)
    return (
        f'<path d="M {x0:.1f} {y:.1f} A {r:.1f} {r:.1f} 0 0 {1 if clockwise else 0} {x1:.1f} {y:.1f}" '
        f'fill="none" stroke="{FADED}" stroke-width="1.8"/>'
        f'<path d="M {x1 - spin * 11:.1f} {y - 1:.1f} L {x1:.1f} {y:.1f} L {x1 - spin * 3:.1f} {y - 11:.1f}" '
        f'fill="none" stroke="{FADED}" stroke-width="1.8"/>'
    )


def _text(x: float, y: float, words: str, fill: str, size: int, *, bold: bool = False) -> str:
    weight = ' font-weight="600"' if bold else ""
    return (
        f'<text x="{x:.1f}" y="{y:.1f}" {SANS} font-size="{size}"{weight} text-anchor="middle" '
        f'fill="{fill}">{words}</text>'
    )
