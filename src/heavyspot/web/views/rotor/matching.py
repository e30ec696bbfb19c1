"""Who goes with whom: parts of each kind in a column, the pairs as lines, and where each part's mark goes."""

from __future__ import annotations

from html import escape

from markupsafe import Markup

from ....quantities.angles import Rotation, clock_text
from ....workshop.rotor.proposal import Assembly, Proposal
from ...drawings.shapes import towards
from ...formats import degrees
from ...speaking import told

ROW, TOP, WIDE = 128, 44, 1120
RADIUS, SMALL = 34, 30
SEEN: Rotation = "clockwise"
"""Parts are drawn seen from where the rotor turns clockwise; the page says so."""


def matching_picture(proposal: Proposal) -> Markup:
    """Return the picture: the first kind in its order; lines cross to where the others lie on their shelf."""
    rows = len(proposal.assemblies)
    others = proposal.kinds[1:]
    step = (WIDE - 250) / max(len(others), 1)
    shelves = [sorted(a.parts[kind] for a in proposal.assemblies) for kind in others]
    parts = [_head(proposal.kinds[0], 0.0, "start")]
    for i, a in enumerate(proposal.assemblies):
        parts.append(_part(60.0, _y(i), a.parts[proposal.kinds[0]]))
    for k, kind in enumerate(others):
        shelf = shelves[k]
        right, from_x = 190 + (k + 1) * step, 100.0 if k == 0 else 190 + k * step + 40
        last = k == len(others) - 1
        parts.append(_head(kind, right + 36, "end"))
        for i, a in enumerate(proposal.assemblies):
            at, place = shelf.index(a.parts[kind]), right - 260
            begin = (
                _y(i)
                if k == 0
                else _y(
                    sorted(x.parts[others[k - 1]] for x in proposal.assemblies).index(
                        a.parts[others[k - 1]]
                    )
                )
            )
            parts.append(_line(from_x, begin, place, _y(i)))
            parts.append(_line(place + 170, _y(i), right - 36, _y(at)))
            parts.append(_box(place, _y(i), a, kind, last=last))
            parts.append(_part(right, _y(at), a.parts[kind]))
    words = "; ".join(
        " with ".join(a.parts[k] for k in proposal.kinds) for a in proposal.assemblies
    )
    return Markup(
        f'<svg class="matching-svg" role="img" aria-label="{escape(words)}" '
        f'viewBox="0 0 {WIDE} {TOP + 28 + rows * ROW}">{"".join(parts)}</svg>'
    )  # fmt: skip


def _y(row: int) -> float:
    return TOP + 14 + ROW * (row + 0.5)


def _head(kind: str, x: float, anchor: str) -> str:
    return f'<text class="kind" x="{x:.0f}" y="24" text-anchor="{anchor}">{escape(kind.capitalize())}</text>'


def _part(x: float, y: float, serial: str) -> str:
    return (
        f'<circle class="face" cx="{x:.0f}" cy="{y:.0f}" r="{RADIUS}"/>{_mark(x, y, RADIUS)}'
        f'<text class="serial" x="{x:.0f}" y="{y + RADIUS + 20:.0f}" text-anchor="middle">{escape(serial)}</text>'
    )


def _mark(x: float, y: float, radius: float) -> str:
    top = y - radius
    return f'<path class="top" d="M{x - 7:.0f} {top:.0f}h14l-7 11z"/>'


def _line(x0: float, y0: float, x1: float, y1: float) -> str:
    half = 0.5 * (x0 + x1)
    curve = f"M{x0:.0f} {y0:.0f}C{half:.0f} {y0:.0f} {half:.0f} {y1:.0f} {x1:.0f} {y1:.0f}"
    return f'<path class="pair" d="{curve}"/>'


def _box(x: float, y: float, a: Assembly, kind: str, *, last: bool) -> str:
    turned = a.turned_deg[kind]
    cx, (dx, dy) = x + 40, towards(turned, clockwise=True)
    stays = told("matching.stay_word", amount=f"{a.residual_gmm:.2f}") if last else ""
    return (
        f'<rect class="box" x="{x:.0f}" y="{y - 46:.0f}" width="170" height="92"/>'
        f'<circle class="turn" cx="{cx:.0f}" cy="{y:.0f}" r="{SMALL}"/>{_mark(cx, y, SMALL)}'
        f'<circle class="goes" cx="{cx + SMALL * dx:.1f}" cy="{y + SMALL * dy:.1f}" r="7"/>'
        f'<text class="serial" x="{x + 80:.0f}" y="{y - 14:.0f}">{clock_text(turned, SEEN)}</text>'
        f'<text class="faint" x="{x + 80:.0f}" y="{y + 9:.0f}">{degrees(turned)}°</text>'
        f'<text class="stays" x="{x + 80:.0f}" y="{y + 31:.0f}">{escape(stays)}</text>'
    )
