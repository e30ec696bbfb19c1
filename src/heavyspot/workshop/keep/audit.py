"""Who wrote what and who logged in, for the owner."""

from __future__ import annotations

from ...ledger.find.audit import LoggedIn, Written
from ...ledger.store.chain import OF_ONE_STORE
from ...ledger.store.tables import metadata
from ..shop import Workshop

__all__ = ["LoggedIn", "Written", "logins", "tables", "written"]


def written(
    shop: Workshop, *, before: int = 0, by: str = "", table: str = "", most: int = 100
) -> tuple[list[Written], int]:
    """Return the newest entries, of a person or a table where one is named, and the link to go on before."""
    known = table if table in metadata.tables else ""
    return shop.book.audit.written(before=before, by=by.strip(), table=known, most=most)


def logins(shop: Workshop, most: int = 100) -> list[LoggedIn]:
    """Return the newest logins."""
    return shop.book.audit.logins(most)


def tables() -> list[str]:
    """Return the tables of entries, those of who may do what first."""
    return sorted(t for t in OF_ONE_STORE) + sorted(
        t.name for t in metadata.sorted_tables if t.name not in OF_ONE_STORE and "why" in t.c
    )
