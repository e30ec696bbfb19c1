"""Pieces: added to their job."""

from __future__ import annotations

from ...ledger.records import Piece
from ...quantities.checks import one_line, serial_number
from ...quantities.errors import BadInput
from ...quantities.said import Said
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
        The serial is empty or holds what is not seen, there is no such position, or the model is of another kind.
    NotThere
        No such model.
    Taken
        The serial is another piece's.
    """
    serial = serial_number(serial)
    find_model(shop, model)
    return shop.book.jobs.add_piece(
        serial,
        model,
        customer=one_line("customer", customer, most=200),
        invoice=one_line("invoice", invoice, most=80),
        position=known_position(position),
        by=by,
    )


POSITIONS = ("", "front", "rear", "left", "right")


def known_position(position: str) -> str:
    """Return a piece's place in its engine; raises `BadInput` when there is none of that name."""
    if position not in POSITIONS:
        raise BadInput(
            Said("refusal.there_is_no_position", {"position": position}),
            remedy=Said("remedy.known", {"known": ", ".join(POSITIONS[1:])}),
        )
    return position


def all_pieces(shop: Workshop, *, most: int | None = None) -> list[Piece]:
    """Return pieces as they stand, oldest first; only the newest so many where `most` is given."""
    return shop.book.jobs.pieces(most=most)
