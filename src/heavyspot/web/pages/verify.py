"""A sheet that was issued: its bytes again, and the page its QR code leads to: is it known, is it the newest?"""

from __future__ import annotations

import hmac

from fastapi import APIRouter, Depends, Request, Response

from ...workshop.sheets.known import known_sheet
from ...workshop.sheets.proof import prove_sheet
from ..access import allowed
from ..deps import Shop
from ..files import sheet_answer
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


@router.get("/sheets/{number}.pdf")
def sheet_again(number: str, shop: Shop) -> Response:
    """A sheet as it was issued, byte for byte."""
    return sheet_answer(shop, number)


@router.get("/sheets/{number}.proof.json")
def sheet_proof(number: str, shop: Shop) -> Response:
    """The proof that a sheet stands in the ledger, for whoever has the sheet."""
    headers = {"Content-Disposition": f'attachment; filename="sheet-{number}.proof.json"'}
    made = prove_sheet(shop, number).as_text()
    return Response(made, media_type="application/json", headers=headers)
