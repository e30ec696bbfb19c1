"""The old book, looked at, as its template shows it."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass

SHOWN = 12
"""Of a long list of names."""

COLUMNS = {
    "serial": "Serial *",
    "speed_rpm": "Speed",
    "first_g": "First peak",
    "last_g": "Last peak",
}


@dataclass(frozen=True)
class Merged:
    """Customers that are taken as one: the first of them, and how many more there are."""

    shown: tuple[tuple[str, str], ...]
    more: int


def column_words(fields: Sequence[str]) -> dict[str, str]:
    """Return what each field is called beside its column."""
    return {f: COLUMNS.get(f, f.capitalize()) for f in fields}


def merged(customers: Mapping[str, str]) -> Merged:
    """Return the customers that are taken as one."""
    pairs = tuple(customers.items())
    return Merged(pairs[:SHOWN], max(0, len(pairs) - SHOWN))


def few_names(names: Sequence[str]) -> str:
    """Return the first names of a list, and how many more there are."""
    more = len(names) - SHOWN
    return ", ".join(names[:SHOWN]) + (f" and {more:,} more" if more > 0 else "")
