"""The day's pages of the log on paper: for the folder that a shop keeps beside the ledger."""

from __future__ import annotations

import json
from dataclasses import asdict, dataclass
from importlib.resources import as_file, files

from ..quantities.dates import day_text, moment_text
from ..quantities.errors import need
from ..quantities.said import catalogue
from .look import SheetLook


@dataclass(frozen=True)
class BookLine:
    """One thing that happened: when on the shop's clock, to which piece, what, by whom."""

    clock: str
    serial: str
    what: str
    text: str
    by: str


@dataclass(frozen=True)
class DayBook:
    """A day of the log.

    Attributes
    ----------
    day : str
        YYYY-MM-DD, on the shop's clock.
    printed_at : str
        UTC.
    link, digest : int, str
        The ledger's newest link when it was printed.
    simulated : bool
        Of a practice ledger: nothing in it is a measurement.
    """

    shop: str
    address: str
    day: str
    printed_at: str
    printed_by: str
    link: int
    digest: str
    simulated: bool
    lines: tuple[BookLine, ...]


def day_book_pdf(book: DayBook, look: SheetLook | None = None) -> bytes:
    """Return the day's pages as PDF bytes; the same day and look give the same bytes."""
    need("typst", "sheets", "Sheets and labels")
    import typst

    look = look or SheetLook()
    words = catalogue(look.language)
    inputs = {
        "book": json.dumps(asdict(book), ensure_ascii=False),
        "words": json.dumps(
            {c: s for c, s in words.items() if c.startswith(("day_book.", "head."))}
        ),
        "look": json.dumps({"language": look.language, "paper": look.paper}),
        "day": day_text(book.day, look.language),
        "printed": moment_text(book.printed_at, look.zone, look.language),
    }
    with as_file(files(__package__)) as folder:
        made: bytes = typst.compile(
            str(folder / "day_book.typ"), format="pdf", sys_inputs=inputs,
            font_paths=[str(folder / "fonts")], ignore_system_fonts=True,
        )  # fmt: skip
    return made
