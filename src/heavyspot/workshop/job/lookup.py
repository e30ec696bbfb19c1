"""Pieces and jobs looked up: by serial, by words, by job, the newest."""

from __future__ import annotations

from ...ledger.find.search import Found
from ...ledger.records import Amendment, Job, Piece
from ..shop import Workshop


def has_piece(shop: Workshop, serial: str) -> bool:
    """Whether there is a piece of a serial."""
    return shop.book.jobs.piece(serial) is not None


def newest_pieces(shop: Workshop, most: int | None = None) -> list[Piece]:
    """Return pieces as they stand, newest first."""
    return shop.book.jobs.pieces(most=most)[::-1]


def piece_count(shop: Workshop) -> int:
    """Return how many pieces there are."""
    return shop.book.jobs.piece_count()


def search_pieces(shop: Workshop, typed: str, *, most: int = 50) -> Found:
    """Return pieces that hold every word typed, or the likest ones; filters as in `ledger.find.search`."""
    return shop.book.search.find(typed, most=most)


def pieces_of_job(shop: Workshop, job_id: str) -> list[Piece]:
    """Return a job's pieces as they stand."""
    return shop.book.jobs.pieces(job_id=job_id)


def siblings_of(shop: Workshop, piece: Piece) -> list[Piece]:
    """Return the other pieces of a piece's job."""
    return shop.book.jobs.siblings(piece.job_id, piece.id)


def newest_jobs(shop: Workshop, most: int = 60) -> list[Job]:
    """Return the newest jobs as they stand, newest first."""
    return shop.book.jobs.newest_jobs(most)


def amendments_of(shop: Workshop, of_id: str) -> list[Amendment]:
    """Return the amendments of a piece or a job, in order."""
    return shop.book.jobs.amendments(of_id)


def piece_json(piece: Piece) -> dict[str, object]:
    """Return a line of the day book as JSON-ready values (a contract: docs/reference/cli.md)."""
    return {
        "serial": piece.serial,
        "model": piece.model,
        "customer": piece.customer,
        "invoice": piece.invoice,
        "position": piece.position,
        "number": piece.number,
        "verdict": piece.verdict,
    }
