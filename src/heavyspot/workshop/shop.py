"""An open shop: its data folder, its settings and its ledger. The verbs are functions in their subject's room."""

from __future__ import annotations

from pathlib import Path

from ..ledger.book import Book, make_data_folder
from ..ledger.records import Piece
from ..quantities.errors import NotThere
from ..quantities.said import Said
from .held import hold
from .shop_file import load_shop_file


class Workshop:
    """A shop that is open.

    Parameters
    ----------
    data : str or Path
        Data folder; made when it is not there.

    Attributes
    ----------
    book : Book
        Its ledger.

    Examples
    --------
    >>> import tempfile, heavyspot
    >>> with heavyspot.Workshop(tempfile.mkdtemp()) as shop:
    ...     _ = heavyspot.add_model(shop, {"name": "Larch 52", "rotation": "clockwise",
    ...         "rated_speed_rpm": 175000, "test_speed_rpm": 150000,
    ...         "plane": [{"name": "nut", "radius_mm": 6.0}]})
    ...     _ = heavyspot.add_piece(shop, "L52-0001", "Larch 52")
    ...     heavyspot.cartridge_story(shop, "L52-0001").piece.model
    'Larch 52'
    """

    def __init__(self, data: str | Path) -> None:
        folder = Path(data)
        settings = load_shop_file(folder)
        make_data_folder(folder)
        self._held = hold(folder)
        try:
            self.book = Book(
                folder, settings.ledger_url or None, recordings_url=settings.recordings_url
            )
        except BaseException:
            self._held.release()
            raise

    @property
    def folder(self) -> Path:
        """Its data folder."""
        return self.book.folder

    def close(self) -> None:
        """Close the ledger."""
        self.book.close()
        self._held.release()

    def __enter__(self) -> Workshop:
        return self

    def __exit__(self, *_: object) -> None:
        self.close()


CLOCK_S = 60.0
"""From this on a word is said of a clock that went back (ours)."""


def clock_words(shop: Workshop) -> str:
    """Return a word when this computer's clock is behind what was written; empty while it is not."""
    behind_s = shop.book.behind_now_s()
    if behind_s < CLOCK_S:
        return ""
    return (
        f"This computer's clock went back: it is {behind_s / 60:,.0f} min behind the newest entries. "
        "Set it; what is written keeps its order, but bears a wrong time until then."
    )


def find_piece(shop: Workshop, serial: str) -> Piece:
    """Return a piece by serial; raises `NotThere` when there is none."""
    piece = shop.book.jobs.piece(serial)
    if piece is None:
        raise NotThere(
            Said("refusal.there_is_no_piece", {"serial": serial}),
            remedy=Said("remedy.add_it_first_or_check"),
        )
    return piece
