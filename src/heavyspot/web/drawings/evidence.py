"""Small drawings beside a check or a figure: what the bench heard, and shares of what is allowed."""

from __future__ import annotations

from collections.abc import Sequence

from markupsafe import Markup

LIMIT_AT = 0.70
"""Where the limit's stroke stands on the rule, as a share of its width."""

MOST_SHARE = 1.40


def _svg(look: str, width: int, height: int, parts: Sequence[str]) -> Markup:
    return Markup(
        f'<svg class="{look}" width="{width}" height="{height}" viewBox="0 0 {width} {height}" '
        f'aria-hidden="true">{"".join(parts)}</svg>'
    )


def trace_svg(values: Sequence[float], width: int = 130, height: int = 46) -> Markup:
    """Return a trace about its middle line, scaled to its own height."""
    middle = height / 2
    parts = [f'<line class="grid" x1="0" x2="{width}" y1="{middle}" y2="{middle}"/>']
    highest = max((abs(v) for v in values), default=0.0)
    if len(values) > 1:
        scale = 0.45 * height / highest if highest else 0.0
        line = " ".join(
            f"{i * width / (len(values) - 1):.1f},{middle - v * scale:.1f}"
            for i, v in enumerate(values)
        )
        parts.append(f'<polyline class="ev" points="{line}"/>')
    return _svg("evs", width, height, parts)


def bars_svg(values: Sequence[float], allowed: float, width: int = 130, height: int = 46) -> Markup:
    """Return bars under the line of what is allowed, which stands at 72 % of the height."""
    scale = 0.72 * height / allowed
    line = height - 0.72 * height
    parts = [
        f'<line class="base" x1="0" x2="{width}" y1="{height - 1}" y2="{height - 1}"/>',
        f'<line class="vg" x1="0" x2="{width}" y1="{line:.0f}" y2="{line:.0f}"/>',
    ]
    step = width / max(len(values), 1)
    for i, value in enumerate(values):
        tall = min(max(value * scale, 1.5), height - 2)
        look = "evb bad" if value > allowed else "evb"
        parts.append(
            f'<rect class="{look}" x="{(i + 0.25) * step:.1f}" y="{height - 2 - tall:.1f}" '
            f'width="{0.5 * step:.1f}" height="{tall:.1f}"/>'
        )
    return _svg("evs", width, height, parts)


def share_svg(share: float, wanted: float, width: int = 130, height: int = 46) -> Markup:
    """Return a share of the whole as a filled rule, with a stroke at the share that is wanted."""
    at = wanted * width
    parts = [
        f'<rect class="gtrack" x="0" y="{0.34 * height:.0f}" width="{width}" height="{0.36 * height:.0f}"/>',
        f'<rect class="gfill" x="0" y="{0.34 * height:.0f}" width="{share * width:.0f}" '
        f'height="{0.36 * height:.0f}"/>',
        f'<line class="vgs" x1="{at:.0f}" x2="{at:.0f}" y1="{0.14 * height:.0f}" y2="{0.90 * height:.0f}"/>',
    ]
    return _svg("evs", width, height, parts)


def gauge_svg(width: int, height: int = 54) -> Markup:
    """Return an empty rule with its limit, which a script fills: the whole width is `MOST_SHARE` of the limit."""
    at = LIMIT_AT * width
    parts = [
        f'<rect class="gtrack" x="0" y="{0.34 * height:.0f}" width="{width}" height="{0.36 * height:.0f}"/>',
        f'<rect class="gfill" x="0" y="{0.34 * height:.0f}" width="0" height="{0.36 * height:.0f}" '
        f'data-limit-at="{at:.0f}" data-most="{MOST_SHARE * at:.0f}"/>',
        f'<line class="limit" x1="{at:.0f}" x2="{at:.0f}" y1="{0.12 * height:.0f}" y2="{0.92 * height:.0f}"/>',
    ]
    return _svg("gauge", width, height, parts)


def pips_svg(chance: float, size: int = 21, of: int = 10) -> Markup:
    """Return a chance as discs, ticked where it goes well."""
    well = int(chance * of + 0.5)
    parts = []
    for i in range(of):
        x = size * (0.5 + 1.18 * i)
        if i < well:
            tick = (
                f"M{x - 0.19 * size:.1f} {0.51 * size:.1f} L{x - 0.05 * size:.1f} {0.66 * size:.1f}"
            )
            parts.append(
                f'<circle class="pip yes" cx="{x:.1f}" cy="{size / 2}" r="{0.42 * size:.1f}"/>'
                f'<path class="ptick" d="{tick} L{x + 0.21 * size:.1f} {0.34 * size:.1f}"/>'
            )
        else:
            parts.append(
                f'<circle class="pip no" cx="{x:.1f}" cy="{size / 2}" r="{0.40 * size:.1f}"/>'
            )
    return _svg("pips", round(1.18 * size * of), size, parts)


def doubt_svg(
    width: int, height: int, *, value: float, doubt: float, limit: float, words: str, foot: str
) -> Markup:
    """Return a value with its doubt, drawn tall, and the limit that lies inside it."""
    half = max(2.6 * doubt, 1.5 * abs(value - limit), 0.02 * limit)
    low, high = limit - half, limit + half
    left, right, top, bottom = 70.0, width - 12.0, 20.0, height - 46.0

    def y(g: float) -> float:
        return bottom - (bottom - top) * (g - low) / (high - low)

    step = _step(high - low)
    parts = []
    tick = round(low / step + 0.5) * step
    while tick < high:
        parts.append(
            f'<line class="grid" x1="{left}" x2="{right}" y1="{y(tick):.0f}" y2="{y(tick):.0f}"/>'
            f'<text class="tick" x="{left - 10}" y="{y(tick) + 7:.0f}" text-anchor="end" '
            f'font-size="20">{tick:.2f}</text>'
        )
        tick += step
    x = left + 0.62 * (right - left)
    a, b = y(value + doubt), y(value - doubt)
    width_tab = 14 + 10.0 * len(words)
    parts += [
        f'<line class="limit" x1="{left}" x2="{right}" y1="{y(limit):.0f}" y2="{y(limit):.0f}"/>',
        f'<rect class="tab" x="{left + 6}" y="{y(limit) - 31:.0f}" width="{width_tab:.0f}" height="27"/>',
        f'<text class="tabt" x="{left + 6 + width_tab / 2:.0f}" y="{y(limit) - 11:.0f}" '
        f'text-anchor="middle" font-size="20">{words}</text>',
        f'<rect class="held" fill="url(#pencil)" x="{x - 44:.0f}" width="88" y="{a:.0f}" height="{b - a:.0f}"/>',
        f'<path class="err" d="M{x:.0f} {a:.0f}V{b:.0f}M{x - 26:.0f} {a:.0f}h52M{x - 26:.0f} {b:.0f}h52"/>',
        f'<circle class="tip" cx="{x:.0f}" cy="{y(value):.0f}" r="12"/>',
        f'<text class="lab" x="{x + 54:.0f}" y="{a + 8:.0f}" font-size="22">{value + doubt:.2f}</text>',
        f'<text class="lab" x="{x + 54:.0f}" y="{b + 8:.0f}" font-size="22">{value - doubt:.2f}</text>',
        f'<text class="axis" x="{(left + right) / 2:.0f}" y="{height - 8}" text-anchor="middle" '
        f'font-size="20">{foot}</text>',
    ]
    return _svg("zoom", width, height, parts)


def _step(span: float) -> float:
    """Return a step that gives about five ticks."""
    for step in (0.01, 0.02, 0.05, 0.1, 0.2, 0.5, 1.0, 2.0, 5.0):
        if span / step <= 6:
            return step
    return 10.0
