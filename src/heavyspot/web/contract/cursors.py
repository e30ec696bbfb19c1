"""Cursors of lists: opaque words that hold a place in one list, in one order."""

from __future__ import annotations

import base64
import binascii
from typing import Annotated, Literal

from fastapi import Query

from ...quantities.errors import BadInput
from ...workshop.job.pages import Mark

Order = Literal["newest", "oldest"]
Limit = Annotated[int, Query(ge=1, le=1000, description="How many at most.")]
Cursor = Annotated[
    str,
    Query(
        max_length=200, description="`next` or `since` of the page before; empty: from the start."
    ),
]


def cursor_of(of: str, order: Order, mark: Mark) -> str:
    """Return the cursor of a place.

    >>> place_of(cursor_of("pieces", "oldest", Mark(7, "0a")), "pieces", "oldest")
    Mark(number=7, digest='0a')
    """
    text = f"1 {of} {order} {mark.number} {mark.digest}"
    return base64.urlsafe_b64encode(text.encode()).decode().rstrip("=")


def place_of(cursor: str, of: str, order: Order) -> Mark | None:
    """Return the place of a cursor, None for an empty one; raises `BadInput` where it is of another list."""
    if not cursor:
        return None
    try:
        text = base64.b64decode(cursor + "=" * (-len(cursor) % 4), b"-_", validate=True)
        version, whose, ordered, number, digest = text.decode().split(" ")
        if (
            (version, whose, ordered) != ("1", of, order)
            or not number.isascii()
            or len(number) > 18
        ):
            raise ValueError
        return Mark(int(number), digest)
    except (ValueError, binascii.Error):
        raise BadInput(
            f"This is no cursor of {of}, {order} first.", remedy="Give `next` as it came."
        ) from None
