"""Pieces: added to their job."""

from __future__ import annotations

from ...ledger.records import Piece
from ...quantities.errors import BadInput
from ..model import find_model
from ..shop import Workshop


def add_piece(
    shop: Workshop,
    serial: str,
    model: str,
    *,
    customer: str = "",
    invoice: str = "",
    position: str = "",
    by: str = "",
) -> str:
    """Add a cartridge to its job (the same customer and invoice: the same job); returns its id.

    Raises
    ------
    BadInput
        The serial is empty, or the model is of another kind.
    NotThere
        No such model.
    Taken
        The serial is another piece's.
    """
    if not serial.strip():
        raise BadInput("The serial is empty.", remedy="Type the number on the piece.")
    find_model(shop, model)
    return shop.book.jobs.add_piece(
        serial.strip(), model, customer=customer, invoice=invoice, position=position, by=by
    )


def all_pieces(shop: Workshop, *, most: int | None = None) -> list[Piece]:
    """Return pieces as they stand, oldest first; only the newest so many where `most` is given."""
    return shop.book.jobs.pieces(most=most)
