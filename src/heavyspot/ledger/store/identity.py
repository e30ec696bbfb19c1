"""Identifiers that sort by time and never collide between sites: UUID version 7 (RFC 9562)."""

from __future__ import annotations

import secrets
import time


def new_id(now_ms: int | None = None) -> str:
    """Return a new UUIDv7: 48 bits of milliseconds, then 74 random bits."""
    ms = int(time.time() * 1000) if now_ms is None else now_ms
    value = (ms & (2**48 - 1)) << 80 | 0x7 << 76
    value |= secrets.randbits(12) << 64 | 0b10 << 62 | secrets.randbits(62)
    text = f"{value:032x}"
    return f"{text[:8]}-{text[8:12]}-{text[12:16]}-{text[16:20]}-{text[20:]}"
