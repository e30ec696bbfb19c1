"""An entry on its way to another store: what is sent, and whether it is what was written."""

from __future__ import annotations

import base64
from dataclasses import dataclass, replace
from typing import Any

from sqlalchemy import LargeBinary, Table

from ...quantities.errors import BadInput
from ..records import Content
from ..store.chain import link_digest
from ..store.entries import Row
from ..store.schema import HEAD
from ..store.tables import amendments, metadata, pieces
from .checked import EXCHANGED, refuse_forged


@dataclass(frozen=True)
class Parcel:
    """One entry on its way.

    Attributes
    ----------
    number : int
        Of its link in the chain it comes from.
    table : str
    row : dict
        As `wrapped` writes it.
    before, digest : str
        The link before, and its own: what was sent is what was written.
    seen : int
        How far into the taker's chain its store had read when it was written.
    """

    number: int
    table: str
    row: Row
    before: str
    digest: str
    seen: int = 0


@dataclass(frozen=True)
class Offer:
    """Parcels, and how far into the chain they reach."""

    store: str
    parcels: tuple[Parcel, ...]
    number: int
    digest: str
    schema: str = HEAD


@dataclass(frozen=True)
class Arriving:
    """An entry of another store on its way in.

    Attributes
    ----------
    table : Table
    row : dict
        All of its columns, as they are to be written.
    id : str
    piece_id : str
        The piece it tells of; empty when it tells of none.
    number : int or str or None
        Of a run, or of a sheet.
    of_id : str
        What an amendment changes.
    kind : str
        Of an amendment, of what.
    content : mapping
    """

    table: Table
    row: Row

    @property
    def id(self) -> str:
        return str(self.row["id"])

    @property
    def piece_id(self) -> str:
        if self.table is pieces:
            return self.id
        if self.table is amendments:
            return self.of_id if self.kind == "piece" else ""
        return str(self.row.get("piece_id") or "")

    @property
    def number(self) -> Any:
        return self.row.get("number")

    @property
    def serial(self) -> str:
        return str(self.row.get("serial", ""))

    @property
    def name(self) -> str:
        return str(self.row.get("name", ""))

    @property
    def digest(self) -> str:
        return str(self.row.get("digest", ""))

    @property
    def of_id(self) -> str:
        return str(self.row.get("of_id", ""))

    @property
    def kind(self) -> str:
        return str(self.row.get("kind", ""))

    @property
    def replaces(self) -> str | None:
        return self.row.get("replaces")

    @property
    def content(self) -> Content:
        found: Content = self.row.get("content") or {}
        return found

    def but(self, **columns: object) -> Arriving:
        """Return it with other values in some columns."""
        return replace(self, row=self.row | columns)


def wrapped(table: str, row: Row) -> Row:
    """Return a row as JSON can carry it: bytes as base64."""
    binary = _binary(metadata.tables[table])
    return {k: base64.b64encode(v).decode() if k in binary else v for k, v in row.items()}


def unwrapped(table: Table, row: Row) -> Row:
    """Return a row as it was before `wrapped`."""
    binary = _binary(table)
    return {k: base64.b64decode(v) if k in binary else v for k, v in row.items()}


def opened(parcel: Parcel) -> Arriving:
    """Return an entry as it was written; raises `BadInput` when it does not fit its link."""
    table = metadata.tables.get(parcel.table)
    if table is None or parcel.table not in EXCHANGED:
        raise BadInput(f'"{parcel.table}" is not exchanged.', remedy="Use the same version.")
    if set(parcel.row) != set(table.c.keys()):
        raise BadInput(f"An entry of {parcel.table} has other fields.", remedy="Send it again.")
    try:
        row = unwrapped(table, parcel.row)
        fits = link_digest(parcel.before, parcel.table, row) == parcel.digest
    except (TypeError, ValueError, RecursionError):
        fits = False
    if not fits:
        raise BadInput(
            f"Entry {parcel.number} does not fit its link: it changed on the way, or in its store.",
            remedy="Send it again; heavyspot verify at the station names what was changed there.",
        )
    refuse_forged(table, row)
    return Arriving(table, row)


def _binary(table: Table) -> set[str]:
    return {k for k, column in table.c.items() if isinstance(column.type, LargeBinary)}
