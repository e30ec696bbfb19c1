"""What stands on a piece's label."""

from __future__ import annotations

from ...ledger.records import Piece


def label_of(piece: Piece) -> tuple[str, str, str]:
    """Return serial, model and the line below."""
    line = " · ".join(x for x in (piece.customer, piece.invoice, piece.position) if x)
    return piece.serial, piece.model, line
