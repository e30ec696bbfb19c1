"""Who looked at what: remembered, though a look is no entry."""

from __future__ import annotations

from pathlib import Path

from ...ledger.records import View
from ...quantities.errors import NotThere
from ...quantities.said import Said
from ..shop import Workshop
from .documents import Attached, attached


def saw(shop: Workshop, by: str, what: str, of: str) -> None:
    """Remember that somebody saw, printed or took away something."""
    shop.book.views.saw(by, what, of)


def views_of(shop: Workshop, of: str, *, most: int = 12) -> list[View]:
    """Return who saw a thing, newest first."""
    return shop.book.views.of(of, most=most)


def open_document(shop: Workshop, serial: str, id_: str, *, by: str) -> tuple[Attached, Path]:
    """Return a document of a piece and where it lies, remembering who looked; raises `NotThere`."""
    found = next((p for p in attached(shop, serial) if p.id == id_), None)
    if found is None:
        raise NotThere(
            Said("refusal.there_is_no_document_of"), remedy=Said("remedy.look_at_the_story")
        )
    path = shop.book.archive.open(found.document.kept_as)
    saw(shop, by, "paper", id_)
    return found, path
