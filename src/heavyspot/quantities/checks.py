"""The gatekeepers: a number or array is checked once, at the boundary, with a message that names it."""

from __future__ import annotations

import math
from datetime import date
from typing import Any

from .errors import BadInput


def positive(name: str, value: Any) -> float:
    """Return `value` as a float > 0, or raise `BadInput` naming it."""
    number = finite(name, value)
    if number <= 0:
        raise BadInput(
            f"{name} is {number:g}; it must be greater than 0.", remedy="Give a positive number."
        )
    return number


def not_negative(name: str, value: Any) -> float:
    """Return `value` as a float >= 0, or raise `BadInput` naming it."""
    number = finite(name, value)
    if number < 0:
        raise BadInput(f"{name} is {number:g}; it must not be negative.", remedy="Give 0 or more.")
    return number


def finite(name: str, value: Any) -> float:
    """Return `value` as a finite float, or raise `BadInput` naming it."""
    try:
        number = float(value)
    except (TypeError, ValueError):
        raise BadInput(f"{name} is {value!r}, not a number.", remedy="Give a number.") from None
    if not math.isfinite(number):
        raise BadInput(f"{name} is {number}; it must be finite.", remedy="Give a finite number.")
    return number


def iso_date(name: str, text: str) -> str:
    """Return a date like 2026-03-31, or nothing for nothing; raises `BadInput` naming it."""
    text = text.strip()
    if not text:
        return ""
    try:
        return date.fromisoformat(text).isoformat()
    except ValueError:
        raise BadInput(
            f"{name} is {text!r}, no date.", remedy="Give a date like 2026-03-31."
        ) from None
