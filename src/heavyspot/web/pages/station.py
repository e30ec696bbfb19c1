"""The other building: what is held for a person to decide, and where a station stands."""

from __future__ import annotations

from typing import Any

from fastapi import APIRouter, Depends, Request, Response

from ...quantities.errors import HeavyspotError
from ...workshop.shop import Workshop
from ...workshop.station.arrivals import add_station, end_station
from ...workshop.station.station import standing
from ..access import Who, allowed
from ..deps import Shop
from ..page import Text, goto, page

router = APIRouter(include_in_schema=False, dependencies=[Depends(allowed)])


@router.get("/buildings")
def buildings(request: Request, shop: Shop) -> Response:
    """What came from other buildings, and what waits for a decision."""
    return page(request, "buildings.html", _buildings(request, shop))


@router.post("/buildings/stations")
def make_station(
    request: Request, shop: Shop, who: Who, name: Text = "", end: Text = ""
) -> Response:
    """Add a station, or end one; a new key is shown once."""
    try:
        if end:
            end_station(shop, end, by=who.name)
            return goto("/buildings")
        key = add_station(shop, name.strip(), by=who.name)
    except HeavyspotError as fault:
        return page(
            request, "buildings.html", _buildings(request, shop) | {"fault": fault}, status=422
        )
    shown = _buildings(request, shop) | {"key": key, "made": name.strip()}
    return page(request, "buildings.html", shown)


@router.post("/buildings/held")
def decide(
    request: Request,
    shop: Shop,
    who: Who,
    store: Text = "",
    piece_id: Text = "",
    serial: Text = "",
    why: Text = "",
) -> Response:
    """Let held entries of a piece in: the same piece, or another with a serial of its own."""
    try:
        now = shop.book.holding.decide(
            store, piece_id, serial=serial.strip(), by=who.name, why=why.strip()
        )
    except HeavyspotError as fault:
        return page(
            request, "buildings.html", _buildings(request, shop) | {"fault": fault}, status=422
        )
    return goto("/story", now)


@router.post("/buildings/clashes")
def settle(request: Request, shop: Shop, who: Who, clash: Text = "", why: Text = "") -> Response:
    """Say that a clash was looked at."""
    try:
        shop.book.exchange.settle(clash, by=who.name, why=why.strip())
    except HeavyspotError as fault:
        return page(
            request, "buildings.html", _buildings(request, shop) | {"fault": fault}, status=422
        )
    return goto("/buildings")


def _buildings(request: Request, shop: Workshop) -> dict[str, Any]:
    return {
        "stations": shop.book.stations.all(),
        "held": shop.book.holding.pieces(),
        "clashes": [c | {"serial": _named(shop, c)} for c in shop.book.exchange.clashes()],
        "standing": standing(shop),
        "line": request.app.state.errands.fault,
    }


def _named(shop: Workshop, clash: dict[str, Any]) -> str:
    """Return the serial of the piece a clash is about, or what it is about."""
    if clash["kind"] in ("piece", "cut"):
        return next((p["serial"] for p in shop.book.pieces_by_id([clash["of"]])), "")
    if clash["kind"] == "job":
        job = shop.book.job(clash["of"]) or {}
        return " ".join(w for w in (job.get("customer"), job.get("invoice")) if w)
    return str(clash["of"])
