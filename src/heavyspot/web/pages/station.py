"""The other building: what is held for a person to decide, and where a station stands."""

from __future__ import annotations

from fastapi import APIRouter, Depends, Request, Response

from ...quantities.errors import HeavyspotError
from ...workshop.shop import Workshop
from ...workshop.station.arrivals import add_station, end_station
from ...workshop.station.disagreements import (
    decide_held,
    held_pieces,
    known_stations,
    open_clashes,
    settle_clash,
)
from ...workshop.station.station import standing
from ..access import Who, allowed
from ..deps import Shop
from ..page import Text, goto, page
from ..views.station import clash_kind, clash_words, held_words

router = APIRouter(include_in_schema=False, dependencies=[Depends(allowed)])


@router.get("/buildings")
def buildings(request: Request, shop: Shop) -> Response:
    """What came from other buildings, and what waits for a decision."""
    return page(request, "station/buildings.html", _buildings(request, shop))


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
            request,
            "station/buildings.html",
            _buildings(request, shop) | {"fault": fault},
            status=422,
        )
    shown = _buildings(request, shop) | {"key": key, "made": name.strip()}
    return page(request, "station/buildings.html", shown)


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
        now = decide_held(
            shop, store, piece_id, serial=serial.strip(), by=who.name, why=why.strip()
        )
    except HeavyspotError as fault:
        return page(
            request,
            "station/buildings.html",
            _buildings(request, shop) | {"fault": fault},
            status=422,
        )
    return goto("/story", now)


@router.post("/buildings/clashes")
def settle(request: Request, shop: Shop, who: Who, clash: Text = "", why: Text = "") -> Response:
    """Say that a clash was looked at."""
    try:
        settle_clash(shop, clash, by=who.name, why=why.strip())
    except HeavyspotError as fault:
        return page(
            request,
            "station/buildings.html",
            _buildings(request, shop) | {"fault": fault},
            status=422,
        )
    return goto("/buildings")


def _buildings(request: Request, shop: Workshop) -> dict[str, object]:
    return {
        "stations": known_stations(shop),
        "held": [(h, held_words(h.why, h.model, h.entries, h.runs)) for h in held_pieces(shop)],
        "clashes": [
            (c.clash, f"{clash_kind(c.clash.kind)} {c.name}", clash_words(c.clash.content))
            for c in open_clashes(shop)
        ],
        "standing": standing(shop),
        "line": request.app.state.errands.words(),
    }
