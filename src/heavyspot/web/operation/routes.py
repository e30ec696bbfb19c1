"""Addresses for who runs it: is it alive, can it work, how much does it do."""

from __future__ import annotations

from fastapi import APIRouter, Depends, Request, Response
from fastapi.responses import JSONResponse

from ...quantities.errors import HeavyspotError
from ...workshop.keep.retention import little_room
from ..access import allowed
from ..deps import Shop
from .metrics import Metrics

router = APIRouter(include_in_schema=False, dependencies=[Depends(allowed)])


@router.get("/health")
async def health() -> dict[str, str]:
    """Whether the process answers; nothing else is asked."""
    return {"status": "alive"}


@router.get("/ready")
def ready(request: Request, shop: Shop) -> Response:
    """Whether work can be done: 503 while the ledger is away. What is away is named, and nothing of the shop."""
    try:
        shop.book.head()
        ledger = "there"
    except HeavyspotError:
        ledger = "away"
    try:
        disk = "nearly full" if little_room(shop.folder) else "has room"
    except OSError:
        disk = "away"
    line = "away" if request.app.state.errands.fault else "there"
    can = ledger == "there" and disk != "away"
    told = {"ready": can, "ledger": ledger, "disk": disk, "line": line}
    return JSONResponse(told, 200 if can else 503)


@router.get("/metrics")
def metrics(request: Request) -> Response:
    """The figures, in the text format a monitor reads."""
    found: Metrics = request.app.state.metrics
    return Response(found.text(), media_type="text/plain; version=0.0.4; charset=utf-8")
