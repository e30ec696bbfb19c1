"""What every entry has, and how a row becomes a value."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, fields
from functools import cache
from typing import Any, TypeVar

Content = Mapping[str, Any]
"""JSON as it stands in an entry."""

R = TypeVar("R")


def record(kind: type[R], row: Mapping[Any, Any]) -> R:
    """Return a row as the value of its kind; columns the kind does not name are left out."""
    return kind(**{str(name): row[name] for name in _names(kind) if name in row})  # type: ignore[arg-type]  # a type is hashable


@cache
def _names(kind: Any) -> tuple[str, ...]:
    return tuple(f.name for f in fields(kind))


@dataclass(frozen=True, kw_only=True)
class Entry:
    """What every entry has.

    Attributes
    ----------
    id, at : str
        Identifier and time (UTC); empty until it is written.
    by : str
        Who wrote it.
    replaces : str or None
        Identifier of the entry it amends.
    why : str
        Reason of an amendment.
    """

    id: str = ""
    at: str = ""
    by: str = ""
    replaces: str | None = None
    why: str = ""

    def values(self) -> dict[str, Any]:
        """Return the columns to be written."""
        every = ((name, getattr(self, name)) for name in _names(type(self)))  # type: ignore[arg-type]  # a type is hashable
        return {k: v for k, v in every if v or k not in ("id", "at")}
