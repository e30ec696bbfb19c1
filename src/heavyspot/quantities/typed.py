"""Numbers as people type them: a decimal comma is a point."""

from __future__ import annotations

from .checks import finite


def decimal_point(text: str) -> str:
    """Return typed text with a point where a decimal comma was, and no space around it.

    >>> decimal_point(" 0,31 ")
    '0.31'
    """
    return text.strip().replace(",", ".")


def to_float(text: str) -> float:
    """Return typed text as a number; raises `ValueError` when it is none.

    >>> to_float("12,5")
    12.5
    """
    return float(decimal_point(text))


def typed_number(name: str, text: str) -> float:
    """Return typed text as a finite number, or raise `BadInput` naming the field.

    >>> typed_number("depth", "0,31")
    0.31
    """
    return finite(name, decimal_point(text))


def typed_or_none(name: str, text: str) -> float | None:
    """Return typed text as a finite number, None for nothing; raises as `typed_number` does."""
    return typed_number(name, text) if text.strip() else None
