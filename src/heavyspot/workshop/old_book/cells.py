"""What is written in a cell of an old book: dates, speeds, peaks and verdicts as people write them."""

from __future__ import annotations

import re
import tomllib
from collections.abc import Iterable
from datetime import date, timedelta
from importlib.resources import files
from typing import Any, Literal

from ...ledger.find.search import plain
from ...quantities.units import G_N
from ...sources.loose_table import Cell

Order = Literal["", "dmy", "mdy", "ymd"]

WORDS: dict[str, Any] = tomllib.loads(
    (files(__package__) / "words.toml").read_text(encoding="utf-8")
)
"""How people head columns and write verdicts."""

EARLIEST = date(1950, 1, 1)

_NUMBERED = re.compile(r"^(\d{1,4})\s*([./\- ])\s*(\d{1,2})\s*[./\- ]\s*(\d{1,4})(?:[T ,].*)?$")
_NAMED = re.compile(r"^(\d{1,2})[.\- ]*([a-z]{3,})[.,\- ]*(\d{2,4})$")
_NAMED_FIRST = re.compile(r"^([a-z]{3,})[.\- ]*(\d{1,2})[., ]+(\d{2,4})$")

MONTHS = {
    **dict.fromkeys(("jan", "ene"), 1), **dict.fromkeys(("feb", "fev"), 2),
    **dict.fromkeys(("mar", "mae"), 3), **dict.fromkeys(("apr", "avr", "abr"), 4),
    **dict.fromkeys(("may", "mai"), 5), **dict.fromkeys(("jun", "juin"), 6),
    **dict.fromkeys(("jul", "juil"), 7), **dict.fromkeys(("aug", "aou", "ago"), 8),
    **dict.fromkeys(("sep", "set"), 9), **dict.fromkeys(("oct", "okt"), 10), "nov": 11,
    **dict.fromkeys(("dec", "dez", "dic"), 12),
}  # fmt: skip
"""Beginnings of the months' names in English, German, French and Spanish, without accents."""


def date_order(cells: Iterable[Cell]) -> Order | None:
    """Return the order in which a column's dates are written; empty when any fits, None when it cannot be told.

    A point between the numbers means the day comes first, as wherever points are used; with other
    signs a number over 12 tells.
    """
    unclear = False
    seen: set[Order] = set()
    for cell in cells:
        match = _NUMBERED.match(cell.strip()) if isinstance(cell, str) else None
        if not match or len(match[1]) == 4:
            continue
        first, second = int(match[1]), int(match[3])
        if match[2] == "." or first > 12:
            seen.add("dmy")
        elif second > 12:
            seen.add("mdy")
        elif first != second:
            unclear = True
    if len(seen) == 1:
        return seen.pop()
    return None if unclear or len(seen) > 1 else ""


def as_date(cell: Cell, order: Order, *, today: date) -> str:
    """Return a date as ISO 8601; raises ValueError saying why not.

    Parameters
    ----------
    order : str
        Of day, month and year where all three are numbers.
    """
    if isinstance(cell, date):
        found = cell
    elif isinstance(cell, float):
        if not 10_000 <= cell <= 80_000:
            raise ValueError(f"{cell:g} is no date")
        found = date(1899, 12, 30) + timedelta(days=int(cell))  # a spreadsheet's count of days
    else:
        found = _written(str(cell), order, today)
    if not EARLIEST <= found <= today:
        raise ValueError(f"the date {found} is not between {EARLIEST.year} and today")
    return found.isoformat()


def _written(text: str, order: Order, today: date) -> date:
    small = plain(text)
    if match := _NUMBERED.match(small):
        a, b, c = match[1], match[3], match[4]
        if len(a) == 4:
            year, month, day = a, b, c
        elif order == "mdy" and match[2] != ".":
            month, day, year = a, b, c
        elif order == "ymd":
            year, month, day = a, b, c
        else:
            day, month, year = a, b, c
        parts = int(year), int(month), int(day)
    elif match := _NAMED.match(small):
        parts = int(match[3]), _month(match[2], text), int(match[1])
    elif match := _NAMED_FIRST.match(small):
        parts = int(match[3]), _month(match[1], text), int(match[2])
    else:
        raise ValueError(f'"{text}" is no date')
    y = parts[0]
    if y < 100:
        y += 2000 if y <= today.year % 100 else 1900
    try:
        return date(y, parts[1], parts[2])
    except ValueError:
        raise ValueError(f'"{text}" is no date') from None


def _month(word: str, text: str) -> int:
    for length in (4, 3):
        if word[:length] in MONTHS:
            return MONTHS[word[:length]]
    raise ValueError(f'"{text}" is no date')


def as_speed(cell: Cell) -> float:
    """Return a speed in rpm from "150k", "150 000", "150.000 rpm" or a bare 150; raises ValueError."""
    if isinstance(cell, float):
        value = cell
    else:
        text = plain(str(cell))
        match = re.match(r"^(\d[\d .,']*)\s*(k?)\s*(?:rpm|r/?min|u/?min|tr/?min|min-?1)?$", text)
        if not match:
            raise ValueError(f'"{cell}" is no speed')
        digits = match[1].strip()
        if re.fullmatch(r"\d{1,3}(?:[ .,']\d{3})+", digits) and not match[2]:
            value = float(re.sub(r"\D", "", digits))
        else:
            value = _decimal(digits)
        value *= 1000 if match[2] else 1
    if value < 1000:
        value *= 1000  # nobody writes a turbo's speed in hundreds of rpm
    if not 1000 <= value <= 500_000:
        raise ValueError(f"{value:,.0f} rpm is no speed of a turbocharger")
    return value


def as_peak(cell: Cell, unit: str) -> tuple[float | None, str]:
    """Return a vibration in g, and how it was written where it cannot be told in g; raises ValueError.

    Parameters
    ----------
    unit : str
        Of the column, where the cell has none.
    """
    if isinstance(cell, float):
        value, unit = cell, unit or "g"
    else:
        match = re.match(r"^([<~≤]?)\s*(\d[\d .,]*)\s*([a-z/²2^ ]*)$", str(cell).strip().casefold())
        if not match:
            raise ValueError(f'"{cell}" is no vibration')
        value, unit = _decimal(match[2].strip()), match[3].strip() or unit or "g"
    unit = unit.replace("^", "").replace("²", "2").replace(" ", "")
    if unit in ("g", "gpk", "gpeak"):
        peak = value
    elif unit in ("m/s2", "ms2"):
        peak = value / G_N
    else:
        return None, f"{value:g} {unit}"  # mm/s and the like: not g without its frequency
    if not 0 <= peak <= 500:
        raise ValueError(f"{peak:g} g is no vibration of a cartridge")
    return peak, ""


def _decimal(text: str) -> float:
    """Return a number whose last point or comma is the decimal sign."""
    whole = text.replace(" ", "").replace("'", "")
    at = max(whole.rfind("."), whole.rfind(","))
    if at >= 0:
        whole = re.sub(r"[.,]", "", whole[:at]) + "." + whole[at + 1 :]
    try:
        return float(whole)
    except ValueError:
        raise ValueError(f'"{text}" is no number') from None


PASSED, FAILED = frozenset(WORDS["passed"]), frozenset(WORDS["failed"])


def as_verdict(cell: Cell) -> str:
    """Return ``pass`` or ``fail``; raises ValueError for other words."""
    word = f"{cell:g}" if isinstance(cell, float) else plain(str(cell)).strip(" !.")
    dotted = word + "."
    if word in PASSED or dotted in PASSED:
        return "pass"
    if word in FAILED or dotted in FAILED:
        return "fail"
    raise ValueError(f'"{cell}" is no verdict')


def as_text(cell: Cell) -> str:
    """Return a cell as text: a number as it was typed, one space between words."""
    if cell is None:
        return ""
    if isinstance(cell, float):
        return str(int(cell)) if cell.is_integer() else f"{cell:.10g}"
    return " ".join(str(cell).split())
