"""The gatekeepers: a number or array is checked once, at the boundary, with a message that names it."""

from __future__ import annotations

import math
import unicodedata
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


def within(name: str, value: Any, low: float, high: float, unit: str) -> float:
    """Return `value` as a float from low to high, or raise `BadInput` naming it."""
    number = finite(name, value)
    if not low <= number <= high:
        raise BadInput(
            f"{name} is {number:g} {unit}; it can only be from {low:g} to {high:g}.",
            remedy="Read it again.",
        )
    return number


NO_LETTERS = {"Cc", "Cf", "Cs", "Co", "Zl", "Zp"}
"""Unicode categories of what nobody sees: controls, direction marks, line breaks, private use."""


def one_line(name: str, text: str, *, most: int) -> str:
    """Return text as it stands on one line, without space around it, or raise `BadInput` naming it.

    What is not seen is refused: two names that look alike would be two, and a direction mark turns figures round.
    """
    text = text.strip()
    if any(unicodedata.category(c) in NO_LETTERS for c in text):
        raise BadInput(
            f"{name} holds characters that are not seen: a line break, a tab or a direction mark.",
            remedy="Type it anew, on one line.",
        )
    if len(text) > most:
        raise BadInput(
            f"{name} has {len(text)} characters; {most} are the most.", remedy="Shorten it."
        )
    return text


def serial_number(text: str) -> str:
    """Return a piece's serial as it is kept, or raise `BadInput`: empty, longer than 120, or not seen."""
    text = one_line("serial", text, most=120)
    if not text:
        raise BadInput("The serial is empty.", remedy="Type the number on the piece.")
    return text


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
