"""Once: a thing that is asked again under the same key is not done again."""

from __future__ import annotations

import hashlib

from ..ledger.store.once import Answer, Asked, asked_once
from .shop import Workshop

__all__ = ["Answer", "Asked", "asked_once", "digest_of", "first_answer", "keep_answer"]


def digest_of(*parts: str | bytes) -> str:
    """Return one digest of several texts or bytes, 64 hexadecimal digits; no two lists share one."""
    made = hashlib.sha256()
    for part in parts:
        raw = part if isinstance(part, bytes) else part.encode(errors="surrogatepass")
        made.update(len(raw).to_bytes(8, "big") + raw)
    return made.hexdigest()


def first_answer(shop: Workshop, key: str, digest: str) -> Answer | None:
    """Return what was answered the first time, or None; raises `BadInput` when something else was asked then."""
    return shop.book.answers.find(key, digest)


def keep_answer(shop: Workshop, answer: Answer) -> None:
    """Keep what was answered, for whoever asks again."""
    shop.book.answers.keep(answer)
