"""How far into another store's chain everything has arrived: it is its sender's, and goes forward link by link."""

from __future__ import annotations

import re

from sqlalchemy import Connection, insert, select

from ...quantities.errors import BadInput, NotAllowed
from ..store.chain import FIRST
from ..store.tables import cursors, own_store
from .envelope import Offer

BATCH = 400
"""Links in one offer at most; so far a cursor may go with it."""

LARGEST = 2**53

_ID = re.compile(r"[0-9a-f]{8}(-[0-9a-f]{4}){3}-[0-9a-f]{12}")
_DIGEST = re.compile("[0-9a-f]{64}")


def cursor(c: Connection, store: str) -> tuple[int, str]:
    """Return number and digest of the last link of a store that arrived."""
    row = c.execute(select(cursors).where(cursors.c.store == store)).first()
    return (int(row.number), str(row.digest)) if row else (0, FIRST)


def refuse_another_s(c: Connection, store: str, station: str) -> None:
    """Raise `NotAllowed` when a store is another station's, or this one itself; the first who names it has it."""
    if c.execute(select(own_store.c.id).where(own_store.c.id == store)).first() is not None:
        raise NotAllowed("That is this store itself.", remedy="Name the station's own store.")
    of = c.execute(select(cursors.c.station).where(cursors.c.store == store)).scalar()
    if of and of != station:
        raise NotAllowed(
            f"That store belongs to another station than {station}.",
            remedy="Use that station's own key.",
        )


def refuse_shape(offer: Offer) -> None:
    """Raise `BadInput` when an offer's own fields, or its parcels', cannot be what a store would send."""
    digests = [offer.digest, *(d for p in offer.parcels for d in (p.before, p.digest))]
    numbers = [offer.number, *(n for p in offer.parcels for n in (p.number, p.seen))]
    right = _ID.fullmatch(offer.store) is not None and all(0 <= n <= LARGEST for n in numbers)
    if not right or not all(_DIGEST.fullmatch(d) for d in digests):
        raise BadInput(
            "This is no offer of a store.", remedy="Use the same version of the program in both."
        )


def refuse_jump(c: Connection, offer: Offer) -> None:
    """Raise `BadInput` when an offer does not go on, link by link, from what has arrived of its store."""
    number, digest = cursor(c, offer.store)
    if offer.number <= number:
        return
    last, seen = number, digest
    right = offer.number <= number + BATCH and _DIGEST.fullmatch(offer.digest) is not None
    for parcel in offer.parcels:
        if parcel.number <= number:
            continue
        goes_on = last < parcel.number <= offer.number
        fits = parcel.number > last + 1 or parcel.before == seen
        right = right and goes_on and fits
        last, seen = parcel.number, parcel.digest
    if not right or (last == offer.number and offer.digest != seen):
        raise BadInput(
            f"The offer does not go on from link {number} of that store.",
            remedy="Ask how far everything has arrived, and send from there.",
        )


def move_cursor(c: Connection, offer: Offer, station: str) -> None:
    """Move a store's cursor forward to the end of an offer that was taken."""
    if cursor(c, offer.store)[0] >= offer.number:
        return
    values = {"number": offer.number, "digest": offer.digest, "station": station or None}
    here = cursors.c.store == offer.store
    if c.execute(cursors.update().where(here).values(**values)).rowcount == 0:
        c.execute(insert(cursors).values(store=offer.store, **values))
