"""The ledger as a whole: its newest link, and whether all of it is as it was written."""

from __future__ import annotations

from collections.abc import Callable, Iterator

from ...ledger.records import Branch
from ...ledger.store.chain import Broken
from ...ledger.store.clock import ClockBack
from ...ledger.trail import Trail
from ..heads import HeadFault, SignedHead, check_heads, own_heads
from ..shop import Workshop

__all__ = [
    "Broken",
    "branches_of",
    "check_ends",
    "check_ledger",
    "clock_backs",
    "newest_link",
    "reindex",
]


def newest_link(shop: Workshop) -> tuple[int, str]:
    """Return number and digest of the newest link."""
    return shop.book.head()


def check_ledger(
    shop: Workshop,
    progress: Callable[[int, int], None] | None = None,
    trail: Trail | None = None,
) -> Iterator[Broken]:
    """Yield everything that is not as it was written; entries behind a trail's mark are not read again."""
    return shop.book.check_chain(progress, trail)


def branches_of(shop: Workshop) -> list[Branch]:
    """Return where the ledger went on from a backup, oldest first."""
    return shop.book.exchange.branches()


def clock_backs(shop: Workshop) -> list[ClockBack]:
    """Return where this store's clock went back, and which entries bear a time that was."""
    return shop.book.clock_backs()


def check_index(
    shop: Workshop,
    progress: Callable[[int, int], None] | None = None,
    trail: Trail | None = None,
) -> Iterator[Broken]:
    """Yield every line of the index of pieces that is not what the entries say, as `check_ledger`."""
    return shop.book.index_faults(progress, trail)


def reindex(shop: Workshop, progress: Callable[[int, int], None] | None = None) -> int:
    """Make the index of pieces anew from the entries; returns how many lines were wrong."""
    return shop.book.rebuild_index(progress)


def check_ends(shop: Workshop, elsewhere: list[SignedHead]) -> Iterator[Broken | HeadFault]:
    """Yield what signed heads show, those kept here and those kept elsewhere, and kept nodes that are wrong."""
    for block in shop.book.heads.node_faults():
        yield Broken("node", "tree", "", block)
    yield from check_heads(shop, [*own_heads(shop), *elsewhere])
