"""An entry on its way to another store: what is sent, and whether it is what was written."""

from __future__ import annotations

import base64
from dataclasses import dataclass

from sqlalchemy import LargeBinary, Table

from ...quantities.errors import BadInput
from ..store.chain import UNCHAINED, link_digest
from ..store.entries import Row
from ..store.schema import HEAD
from ..store.tables import amendments, metadata, pieces

OF_ONE_STORE = {"users", "pins", "stations", "held", "takings", "clashes", "retired"}
"""Entries that never leave their store: who may log in there, what was decided about arrivals,
which recordings it removed."""


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


def wrapped(table: str, row: Row) -> Row:
    """Return a row as JSON can carry it: bytes as base64."""
    binary = _binary(metadata.tables[table])
    return {k: base64.b64encode(v).decode() if k in binary else v for k, v in row.items()}


def unwrapped(table: Table, row: Row) -> Row:
    """Return a row as it was before `wrapped`."""
    binary = _binary(table)
    return {k: base64.b64decode(v) if k in binary else v for k, v in row.items()}


def opened(parcel: Parcel) -> tuple[Table, Row]:
    """Return an entry as it was written; raises `BadInput` when it does not fit its link."""
    table = metadata.tables.get(parcel.table)
    if table is None or parcel.table in UNCHAINED | OF_ONE_STORE:
        raise BadInput(f'"{parcel.table}" is not exchanged.', remedy="Use the same version.")
    if set(parcel.row) != set(table.c.keys()):
        raise BadInput(f"An entry of {parcel.table} has other fields.", remedy="Send it again.")
    try:
        row = unwrapped(table, parcel.row)
        fits = link_digest(parcel.before, parcel.table, row) == parcel.digest
    except (TypeError, ValueError):
        fits = False
    if not fits:
        raise BadInput(
            f"Entry {parcel.number} does not fit its link: it changed on the way, or in its store.",
            remedy="Send it again; heavyspot verify at the station names what was changed there.",
        )
    return table, row


def _binary(table: Table) -> set[str]:
    return {k for k, column in table.c.items() if isinstance(column.type, LargeBinary)}


def piece_of(table: Table, row: Row) -> str:
    """Return the piece an entry tells of; empty when it tells of none."""
    if table is pieces:
        return str(row["id"])
    if table is amendments:
        return str(row["of_id"]) if row["kind"] == "piece" else ""
    return str(row.get("piece_id") or "")
