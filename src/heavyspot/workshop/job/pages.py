"""Pieces and jobs page by page."""

from __future__ import annotations

from ...ledger.find.pages import Mark, Page
from ...ledger.records import Job, Piece
from ..shop import Workshop

__all__ = ["Mark", "Page", "job_page", "piece_page"]


def piece_page(
    shop: Workshop, mark: Mark | None = None, *, newest: bool = False, limit: int = 200
) -> Page[Piece]:
    """Return pieces as they stand behind a mark, each once however many are written meanwhile.

    Raises
    ------
    Stale
        The mark is not of this ledger.
    """
    return shop.book.pages.pieces(mark, newest=newest, limit=limit)


def job_page(
    shop: Workshop, mark: Mark | None = None, *, newest: bool = False, limit: int = 200
) -> Page[Job]:
    """Return jobs as they stand behind a mark; raises as `piece_page` does."""
    return shop.book.pages.jobs(mark, newest=newest, limit=limit)
