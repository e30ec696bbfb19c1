"""What time it is, and how a time is written down: the computer's time, but for a shop that is made up."""

from __future__ import annotations

from collections.abc import Iterator
from contextlib import contextmanager
from contextvars import ContextVar
from datetime import UTC, datetime

_made_up: ContextVar[datetime | None] = ContextVar("made_up", default=None)


def now() -> datetime:
    """Return the time, UTC."""
    return _made_up.get() or datetime.now(UTC)


def utc_text(at: datetime) -> str:
    """Return a time as the ledger writes it, UTC, ISO 8601 with milliseconds; such texts sort by time."""
    return at.astimezone(UTC).isoformat(timespec="milliseconds").replace("+00:00", "Z")


def utc_minute(text: str) -> str:
    """Return a time of the ledger to the minute, in UTC as it stands there.

    >>> utc_minute("2026-11-26T22:09:10.000Z")
    '2026-11-26 22:09'
    """
    return text[:16].replace("T", " ")


def time_of(text: str) -> datetime:
    """Return the time a text of the ledger says, with its zone; raises `ValueError` when it says none."""
    return datetime.fromisoformat(text)


def is_made_up() -> bool:
    """Return whether it is another time in here than the computer's."""
    return _made_up.get() is not None


@contextmanager
def made_up(at: datetime) -> Iterator[None]:
    """Let it be another time in here: a demo shop has lived a year, and no ledger but its own is written so."""
    token = _made_up.set(at)
    try:
        yield
    finally:
        _made_up.reset(token)
