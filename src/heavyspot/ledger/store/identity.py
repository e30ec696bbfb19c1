"""Identifiers that sort by time and never collide between sites: UUID version 7 (RFC 9562)."""

from __future__ import annotations

import secrets
import threading
import time


def new_id(now_ms: int | None = None) -> str:
    """Return a new UUIDv7: 48 bits of milliseconds, a counter of 12 bits, 62 random bits.

    Identifiers made one after the other in one process sort in that order, also within a
    millisecond: what is written in one go is read back as it was written (RFC 9562, 6.2, method 1).
    """
    ms = int(time.time() * 1000) if now_ms is None else now_ms
    value = (ms & (2**48 - 1)) << 80 | 0x7 << 76
    value |= _count(ms) << 64 | 0b10 << 62 | secrets.randbits(62)
    text = f"{value:032x}"
    return f"{text[:8]}-{text[8:12]}-{text[12:16]}-{text[16:20]}-{text[20:]}"


_turn = threading.Lock()
_last = (-1, 0)


def _count(ms: int) -> int:
    """Return the next count of this millisecond, from a random start in the lower half."""
    global _last
    with _turn:
        last_ms, count = _last
        count = count + 1 if ms == last_ms and count < 4095 else secrets.randbits(11)
        _last = (ms, count)
        return count
