"""Identifiers that sort by time and never collide between sites: UUID version 7 (RFC 9562).

They go up even when the clock goes back, or the program begins anew with an older one: an entry written later sorts
later. The time in them is then not the time; entries bear that in a field of their own.
"""

from __future__ import annotations

import secrets
import threading
from collections.abc import Iterable

from ...quantities.clock import is_made_up, now

LAST_MS = 2**47
"""A time beyond this (the year 6429) is nobody's clock, and is not followed."""


def new_id(now_ms: int | None = None, *, after: Iterable[str] = ()) -> str:
    """Return a new UUIDv7: 48 bits of milliseconds, a counter of 12 bits, 62 random bits.

    Identifiers made one after the other in one process sort in that order, also within a
    millisecond: what is written in one go is read back as it was written (RFC 9562, 6.2, method 1).

    Parameters
    ----------
    now_ms : int, optional
        Time of what is older than now; it is taken as it is.
    after : iterable of str
        Identifiers the new one is to sort behind.
    """
    if (
        now_ms is None and is_made_up()
    ):  # what is made up is not to turn the real clock's order round
        now_ms = int(now().timestamp() * 1000)
    ms, count = _next(now_ms, after)
    value = (ms & (2**48 - 1)) << 80 | 0x7 << 76
    value |= count << 64 | 0b10 << 62 | secrets.randbits(62)
    text = f"{value:032x}"
    return f"{text[:8]}-{text[8:12]}-{text[12:16]}-{text[16:20]}-{text[20:]}"


_turn = threading.Lock()
_last = (-1, 0)
_given = (-1, 0)


def _next(given_ms: int | None, after: Iterable[str]) -> tuple[int, int]:
    """Return the millisecond, and the count in it from a random start in the lower half."""
    global _last, _given
    with _turn:
        if given_ms is not None:
            ms, count = _given
            count = count + 1 if ms == given_ms and count < 4095 else secrets.randbits(11)
            _given = given_ms, count
            return _given
        now_ms = int(now().timestamp() * 1000)
        behind = [ms + 1 for ms in map(_ms_of, after) if now_ms <= ms < LAST_MS]
        ms, (last_ms, count) = max([now_ms, *behind]), _last
        if ms > last_ms:
            _last = ms, secrets.randbits(11)
        elif count < 4095:
            _last = last_ms, count + 1
        else:
            _last = last_ms + 1, secrets.randbits(11)
        return _last


def _ms_of(identifier: str) -> int:
    """Return the milliseconds in an identifier; -1 where there are none."""
    try:
        return int(identifier[:8] + identifier[9:13], 16)
    except ValueError:
        return -1
