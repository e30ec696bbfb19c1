"""The page a sheet's QR code leads to: does the ledger know this sheet, and is it the newest?"""

from __future__ import annotations

import hmac

from fastapi import APIRouter, Depends, Request, Response

from ..access import allowed
from ..deps import Shop
from ..page import page

router = APIRouter(include_in_schema=False, dependencies=[Depends(allowed)])


@router.get("/verify/{number}")
def verify_page(request: Request, number: str, shop: Shop, d: str = "") -> Response:
    """Say whether a sheet with that number and that digest was issued; nothing is told without both."""
    row = shop.book.papers.sheet(number)
    known = row is not None and hmac.compare_digest(row["digest"].encode(), d.encode())
    values = {"number": number, "row": row if known else None, "newer": None}
    if known and row is not None:
        newest = shop.book.papers.newest_sheet(row["piece_id"], flow=row["run_number"] < 0)
        values["newer"] = newest if newest and newest["number"] != number else None
    return page(request, "verify.html", values, status=200 if known else 404)
