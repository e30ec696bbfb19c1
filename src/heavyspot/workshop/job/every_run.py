"""Every run of a shop, one after the other: for those who count and compare, not for the bench."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass

from ...ledger.records import Piece
from ...signal.curve import Curve
from ..cartridge.past import unpack_curves
from ..cartridge.story import KeptRun
from ..reading import result_of
from ..rig.simulated import is_simulated
from ..shop import Workshop, find_piece
from .pages import piece_page


@dataclass(frozen=True)
class RunOfPiece:
    """A run without its curves, and whose it is.

    Attributes
    ----------
    simulated : bool
        Whether it is no measurement.
    """

    piece: Piece
    run: KeptRun
    simulated: bool


def every_piece(shop: Workshop) -> Iterator[Piece]:
    """Yield every piece as it stands, in the order they were written, also those that come meanwhile."""
    page = piece_page(shop)
    while page.items:
        yield from page.items
        page = piece_page(shop, page.mark)


def every_run(shop: Workshop, serial: str = "") -> Iterator[RunOfPiece]:
    """Yield every run of every cartridge, or of one, with the verdict that stands.

    Raises
    ------
    NotThere
        No piece of that serial.
    """
    for piece in [find_piece(shop, serial)] if serial else every_piece(shop):
        for entry in shop.book.cartridges.runs(piece.id):
            yield RunOfPiece(piece, KeptRun(entry, result_of(entry)), is_simulated(shop, entry.rig))


def curves_of_run(shop: Workshop, found: RunOfPiece) -> tuple[Curve, ...]:
    """Return a run's curves, the longest pass first; empty where its reference could not be trusted."""
    return unpack_curves(shop.book.cartridges.curves(found.piece.id)[found.run.number])
