"""Numbers as people read them."""

from __future__ import annotations

import math


def short(value: float, digits: int = 3) -> str:
    """Return a number with so many significant digits and no exponent.

    >>> short(30123.4), short(0.021349), short(5.0), short(0)
    ('30,100', '0.0213', '5', '0')
    """
    if not math.isfinite(value) or value == 0:
        return "0" if value == 0 else "–"
    places = digits - 1 - math.floor(math.log10(abs(value)))
    rounded = round(value, places)
    text = f"{rounded:,.{max(0, places)}f}"
    return text.rstrip("0").rstrip(".") if "." in text else text
