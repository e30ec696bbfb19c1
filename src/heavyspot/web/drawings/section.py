"""A plane cut through, to scale: the skin, what comes off, and the deepest that is allowed."""

from __future__ import annotations

from html import escape

from markupsafe import Markup

from .shapes import text

TEXT_PX, DEPTH_PX = 20.0, 34.0
ABOVE_PX, BELOW_PX = 46.0, 34.0


def section_svg(
    width: int, height: int, *, depth_mm: float, most_mm: float, label: str, depth: str, most: str
) -> Markup:
    """Return the section.

    Parameters
    ----------
    depth_mm, most_mm : float
        What is to come off, and the deepest allowed; a cut that is deeper sets the scale.
    label, depth, most : str
        What it is, for those who cannot see it; the words at the cut and at the deepest line.
    """
    scale = (height - ABOVE_PX - BELOW_PX) / (1.06 * max(most_mm, depth_mm))
    top, left, right = ABOVE_PX, 8.0, width - 8.0
    floor, deepest = top + depth_mm * scale, top + most_mm * scale
    a, b = left + 0.10 * (right - left), left + 0.56 * (right - left)
    slope = min(0.12 * (b - a), 16.0)
    cut = f"L{a:.0f} {top:.0f} L{a + slope:.1f} {floor:.1f} L{b - slope:.1f} {floor:.1f} L{b:.0f} {top:.0f}"
    ruler = b + 16
    parts = [
        f'<path class="metal" fill="url(#steel)" d="M{left} {top} {cut} L{right} {top} '
        f'L{right} {height - 4} L{left} {height - 4} Z"/>',
        f'<path class="cutsec" d="M{a:.0f} {top:.0f} {cut} Z"/>',
        f'<path class="skin" d="M{left} {top} {cut} L{right} {top}"/>',
        f'<line class="most" x1="{left}" x2="{right}" y1="{deepest:.1f}" y2="{deepest:.1f}"/>',
        text((right - 4, deepest + 1.05 * TEXT_PX), escape(most), "mostt", TEXT_PX, "end"),
        f'<line class="dim" x1="{b + 4:.1f}" x2="{ruler + 10:.1f}" y1="{top}" y2="{top}"/>',
        f'<line class="dim" x1="{b - slope + 4:.1f}" x2="{ruler + 10:.1f}" y1="{floor:.1f}" y2="{floor:.1f}"/>',
        f'<line class="dim" x1="{ruler:.1f}" x2="{ruler:.1f}" y1="{top}" y2="{floor:.1f}"/>',
        text((a, top - 12), escape(depth), "dimt", DEPTH_PX, "start"),
    ]
    if floor - top > 24:
        for y, way in ((top, 1), (floor, -1)):
            parts.append(f'<path class="dimh" d="M{ruler:.1f} {y:.1f} l-5 {10 * way} h10 Z"/>')
    return Markup(
        f'<svg class="section" role="img" aria-label="{escape(label)}" width="{width}" height="{height}" '
        f'viewBox="0 0 {width} {height}">{"".join(parts)}</svg>'
    )
