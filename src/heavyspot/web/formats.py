"""Numbers, times and counted things as the pages show them; the only place where they are formatted.

A function in `FILTERS` is a filter of the templates by its own name. A number that is not there is a dash, never 0.
"""

from __future__ import annotations

import math
from collections.abc import Callable, Sized

from ..balance.uncertainty import COVERAGE_K
from ..quantities.dates import day_short, moment_short
from ..quantities.said import catalogue
from ..quantities.words import short
from ..workshop.reading.results import percent
from .speaking import language, told, zone

NONE = "–"

Number = float | None


def _known(value: Number) -> bool:
    return value is not None and math.isfinite(value)


def fixed(value: Number, digits: int = 2) -> str:
    """Return a number with so many decimals.

    >>> fixed(0.456), fixed(3, 1), fixed(None)
    ('0.46', '3.0', '–')
    """
    return f"{value:.{digits}f}" if _known(value) else NONE


def signed(value: Number, digits: int = 3) -> str:
    """Return a difference with its sign.

    >>> signed(0.02), signed(-1.25, 1)
    ('+0.020', '-1.2')
    """
    return f"{value:+.{digits}f}" if _known(value) else NONE


def grouped(value: Number) -> str:
    """Return a whole number with its thousands apart: a count, a speed in rpm.

    >>> grouped(150000.4), grouped(12)
    ('150,000', '12')
    """
    return f"{value:,.0f}" if _known(value) else NONE


def whole(value: Number) -> str:
    """Return a number without decimals.

    >>> whole(12.6), whole(-0.2)
    ('13', '0')
    """
    return str(round(value)) if value is not None and math.isfinite(value) else NONE


def degrees(angle_deg: Number) -> str:
    """Return an angle on the rotor, from 0 to 359, without its sign.

    >>> degrees(12.4), degrees(359.7)
    ('12', '0')
    """
    return (
        str(round(angle_deg) % 360) if angle_deg is not None and math.isfinite(angle_deg) else NONE
    )


def figures(value: Number, digits: int = 4) -> str:
    """Return a number with so many significant figures; a large one without an exponent.

    >>> figures(0.041234567), figures(20360.0, 2), figures(2.5, 6), figures(1e-7)
    ('0.04123', '20,000', '2.5', '1e-07')
    """
    if not _known(value):
        return NONE
    text = f"{value:.{digits}g}"
    return f"{float(text):,.0f}" if "e+" in text and abs(float(text)) < 1e9 else text


def in_percent(share: Number, digits: int = 0) -> str:
    """Return a share as per cent, without the sign.

    >>> in_percent(0.124), in_percent(0.1234, 1)
    ('12', '12.3')
    """
    return NONE if share is None else fixed(100 * share, digits)


def in_thousandths(value: Number) -> str:
    """Return kilograms as grams, litres as millilitres: three figures of a thousand times the value.

    >>> in_thousandths(0.0012345)
    '1.23'
    """
    return NONE if value is None else figures(1000 * value, 3)


def expanded(uncertainty: float) -> float:
    """Return the expanded uncertainty of a standard one, as every sheet and verdict does: k times it."""
    return COVERAGE_K * uncertainty


def moment(at: str) -> str:
    """Return a time stamp on the shop's clock, to the minute; the year where it is not this one.

    >>> moment("2001-03-01T12:30:12Z")[:10]
    '1 Mar 2001'
    """
    return moment_short(at, zone(), language()) if at else NONE


def day(at: str) -> str:
    """Return the day of a time stamp on the shop's clock, or a day without a time as it is.

    >>> day("2001-03-01")
    '1 Mar 2001'
    """
    return day_short(at, zone(), language()) if at else NONE


def spaced(name: str) -> str:
    """Return a name of a file's key as words.

    >>> spaced("axial_play")
    'axial play'
    """
    return name.replace("_", " ")


def counted(number: int | Sized, one: str, many: str = "") -> str:
    """Return a number, or how many things there are, with their word in the page's language.

    >>> counted(1, "run"), counted([1, 2], "run"), counted(1200, "entry", "entries")
    ('1 run', '2 runs', '1,200 entries')
    """
    n = number if isinstance(number, int) else len(number)
    code = f"count.{'one' if n == 1 else 'many'}.{one}"
    if code in catalogue("en"):
        return told(code, number=float(n))
    return f"{n:,} {one if n == 1 else many or one + 's'}"


def few(number: int, least: int) -> str:
    """Return a warning beside a number that is too small to tell much; nothing when it is enough.

    >>> few(7, 10), few(10, 10)
    ('(few)', '')
    """
    return f"({told('insight.few')})" if number < least else ""


def named(value: str | int | None, name: str) -> str:
    """Return a value with its name before it; nothing when there is no value.

    >>> named("F-12", "invoice"), named("", "invoice")
    ('invoice F-12', '')
    """
    return f"{name} {value}" if value else ""


def as_code(name: str) -> str:
    """Return a name of the data as its part of a code.

    >>> as_code("high-speed rig")
    'high_speed_rig'
    """
    return name.replace(" ", "_").replace("-", "_")


def dotted(*parts: str | None) -> str:
    """Return the parts that are there, a dot between them.

    >>> dotted("Larch 52", "", None, "left")
    'Larch 52 · left'
    """
    return " · ".join(p for p in parts if p)


def listed(*parts: str | None) -> str:
    """Return the parts that are there, a comma between them.

    >>> listed("Larch 52", None), listed("Larch 52", "left")
    ('Larch 52', 'Larch 52, left')
    """
    return ", ".join(p for p in parts if p)


FILTERS: dict[str, Callable[..., object]] = {
    f.__name__: f
    for f in (
        fixed, signed, grouped, whole, degrees, figures, in_percent,
        moment, day, spaced, as_code, counted, few, named, short, percent,
    )
}  # fmt: skip
