"""The page a sheet's QR code leads to: does the ledger know this sheet, and is it the newest?"""

from __future__ import annotations

import hmac

from fastapi import APIRouter, Depends, Request, Response

from ...workshop.sheets.known import known_sheet
from ..access import allowed
from ..deps import Shop
from ..page import page

router = APIRouter(include_in_schema=False, dependencies=[Depends(allowed)])


@router.get("/verify/{number}")
def verify_page(request: Request, number: str, shop: Shop, d: str = "") -> Response:
    """Say whether a sheet with that number and that digest was issued; nothing is told without both."""
    found = known_sheet(shop, number)
    known = found is not None and hmac.compare_digest(found.sheet.digest.encode(), d.encode())
    shown = found if known else None
    values = {
        "number": number,
        "row": shown.sheet if shown else None,
        "newer": shown.newest if shown and not shown.is_newest else None,
    }
    return page(request, "ledger/verify.html", values, status=200 if known else 404)
