"""A cartridge's rotor seen from the side; the places where material may come off can be touched."""

from __future__ import annotations

from collections.abc import Sequence
from html import escape

from markupsafe import Markup

from ...quantities.said import Said
from ..speaking import spoken, told

PLACES = (
    (96, Said("model_place.nut"), ("nut",)),
    (152, Said("model_place.nose"), ("nose", "compressor nose")),
    (222, Said("model_place.back"), ("back", "back face", "compressor back face")),
    (612, Said("model_place.hub"), ("turbine", "hub", "turbine hub", "turbine nose")),
)
"""Where each plane lies along the shaft, px, its usual name, and the names it goes by."""

WIDE, HIGH, SHAFT_Y = 720, 210, 96


def rotor_svg(names: Sequence[str], at: str = "") -> Markup:
    """Return the rotor with a place for each plane of a form; each leads to its fields, ``#plane-0`` and on.

    Parameters
    ----------
    at : str
        Address of the form, where it is another page.
    """
    parts = [
        '<path class="body" d="M30 88h56v16H30zM86 96V82h20l6 14-6 14H86zM112 96c30-4 60-22 76-70h18v140h-18'
        "c-16-48-46-66-76-70zM206 84h330v24H206zM250 70h60v52h-60zM430 70h60v52h-60z"
        'M536 96V34h20c10 34 34 50 66 54h28v16h-28c-32 4-56 20-66 54h-20z"/>',
        f'<line class="middle" x1="8" x2="{WIDE - 8}" y1="{SHAFT_Y}" y2="{SHAFT_Y}"/>',
    ]
    free = [x for x, _, _ in PLACES]
    for i, name in enumerate(names):
        x = next((at for at, _, known in PLACES if name.lower() in known and at in free), None)
        x = x if x is not None else next(iter(free), 360)
        if x in free:
            free.remove(x)
        words = name or spoken(next(said for at, said, _ in PLACES if at == x))
        look = "known" if name else "open"
        parts.append(
            f'<a href="{escape(at)}#plane-{i}" class="{look}" aria-label="{escape(words)}">'
            f'<rect x="{x - 40}" y="20" width="80" height="170"/>'
            f'<path d="M{x} 30v128"/><circle cx="{x}" cy="{SHAFT_Y}" r="9"/>'
            f'<text x="{x}" y="184">{escape(words[:18])}</text></a>'
        )
    return Markup(
        f'<svg class="rotor-side" role="group" aria-label="{escape(told("model_says.rotor"))}" '
        f'viewBox="0 0 {WIDE} {HIGH}">{"".join(parts)}</svg>'
    )
