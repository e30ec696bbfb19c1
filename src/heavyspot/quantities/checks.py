"""The gatekeepers: a number or array is checked once, at the boundary, with a message that names it."""

from __future__ import annotations

import math
import unicodedata
from datetime import date
from typing import Any

from .errors import BadInput
from .said import Said, catalogue


def positive(name: str, value: Any) -> float:
    """Return `value` as a float > 0, or raise `BadInput` naming it."""
    number = finite(name, value)
    if number <= 0:
        raise BadInput(
            Said("refusal.is_it_must_be_greater", {"name": _called(name), "number": number}),
            remedy=Said("remedy.give_a_positive_number"),
        )
    return number


def not_negative(name: str, value: Any) -> float:
    """Return `value` as a float >= 0, or raise `BadInput` naming it."""
    number = finite(name, value)
    if number < 0:
        raise BadInput(
            Said("refusal.is_it_must_not_be", {"name": _called(name), "number": number}),
            remedy=Said("remedy.give_or_more"),
        )
    return number


def finite(name: str, value: Any) -> float:
    """Return `value` as a finite float, or raise `BadInput` naming it."""
    try:
        number = float(value)
    except (TypeError, ValueError):
        raise BadInput(
            Said("refusal.is_not_a_number", {"name": _called(name), "value": repr(value)}),
            remedy=Said("remedy.give_a_number"),
        ) from None
    if not math.isfinite(number):
        raise BadInput(
            Said("refusal.is_it_must_be_finite", {"name": _called(name), "number": number}),
            remedy=Said("remedy.give_a_finite_number"),
        )
    return number


def within(name: str, value: Any, low: float, high: float, unit: str) -> float:
    """Return `value` as a float from low to high, or raise `BadInput` naming it."""
    number = finite(name, value)
    if not low <= number <= high:
        raise BadInput(
            Said(
                "refusal.is_it_can_only_be",
                {"name": _called(name), "number": number, "unit": unit, "low": low, "high": high},
            ),
            remedy=Said("remedy.read_it_again"),
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
            Said("refusal.holds_characters_that_are_not", {"name": _called(name)}),
            remedy=Said("remedy.type_it_anew_on_one"),
        )
    if len(text) > most:
        raise BadInput(
            Said(
                "refusal.has_characters_are_the_most",
                {"name": _called(name), "text": len(text), "most": most},
            ),
            remedy=Said("remedy.shorten_it"),
        )
    return text


def serial_number(text: str) -> str:
    """Return a piece's serial as it is kept, or raise `BadInput`: empty, longer than 120, or not seen."""
    text = one_line("serial", text, most=120)
    if not text:
        raise BadInput(
            Said("refusal.the_serial_is_empty"), remedy=Said("remedy.type_the_number_on_the")
        )
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
            Said("refusal.is_no_date", {"name": _called(name), "text": repr(text)}),
            remedy=Said("remedy.give_a_date_like"),
        ) from None


def _called(name: str) -> Said | str:
    """Return what a quantity is called, in the reader's language where the catalogues know it."""
    said = Said("quantity." + name.replace(" ", "_"))
    return said if said.code in catalogue("en") else name
