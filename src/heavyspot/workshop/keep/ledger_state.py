"""The ledger as a whole: its newest link, and whether all of it is as it was written."""

from __future__ import annotations

from collections.abc import Callable, Iterator

from ...ledger.store.chain import Broken
from ..shop import Workshop

__all__ = ["Broken", "check_ledger", "newest_link"]


def newest_link(shop: Workshop) -> tuple[int, str]:
    """Return number and digest of the newest link."""
    return shop.book.head()


def check_ledger(
    shop: Workshop, progress: Callable[[int, int], None] | None = None
) -> Iterator[Broken]:
    """Yield everything that is not as it was written."""
    return shop.book.check_chain(progress)
