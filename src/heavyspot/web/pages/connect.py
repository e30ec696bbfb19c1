"""Connecting a rig in the browser: the device, what each input hears, where its sensors sit, a turn by hand."""

from __future__ import annotations

from collections.abc import Mapping

from fastapi import APIRouter, Depends, Request, Response

from ...quantities.errors import BadInput, HeavyspotError
from ...workshop.rig.kept_rig import keep_rig, kept_rig
from ...workshop.rig.record import add_rig, rig_names
from ..access import Who, allowed
from ..connecting import SIMULATED, SOUND, Connecting, inputs
from ..deps import Shop, TheBench, TheBenches
from ..page import goto, page
from ..speaking import told
from ..views.rig.connect import (
    MOST_CHANNELS,
    ROLES,
    channel_count,
    clock_drawing,
    first_typed,
    levels,
    rig_of,
    turned,
)

router = APIRouter(include_in_schema=False, dependencies=[Depends(allowed)])


def _connecting(request: Request) -> Connecting:
    found: Connecting = request.app.state.connecting
    return found


def _values(request: Request, typed: Mapping[str, str]) -> dict[str, object]:
    devices, no_devices = inputs()
    heard = _connecting(request).heard()
    return {
        "typed": typed,
        "devices": devices,
        "no_devices": no_devices,
        "inputs": range(channel_count(typed)),
        "most_inputs": range(2, MOST_CHANNELS + 1),
        "roles": ROLES,
        "drawing": clock_drawing(typed),
        "heard": heard,
        "levels": levels(heard) if heard else [],
        "turned": turned(heard) if heard else None,
        "kept": kept_rig(request.app.state.shop.folder),
        "practising": request.app.state.practice,
    }


@router.get("/connect")
def connect_page(request: Request, source: str = "") -> Response:
    """Where a rig comes from, and its settings once that is said."""
    typed = first_typed(2) | {"source": source if source in (SOUND, SIMULATED) else ""}
    return page(request, "rig/connect.html", _values(request, typed))


@router.get("/connect/heard")
def heard_part(request: Request) -> Response:
    """What each input hears just now: a part of the page."""
    heard = _connecting(request).heard()
    values = {
        "heard": heard,
        "levels": levels(heard) if heard else [],
        "turned": turned(heard) if heard else None,
    }
    return page(request, "rig/heard.html", values)


@router.get("/connect/drawing")
def drawing_part(request: Request) -> Response:
    """The drawing with the places that are typed just now."""
    return Response(clock_drawing(dict(request.query_params)), media_type="text/html")


@router.post("/connect")
async def connect(
    request: Request, shop: Shop, bench: TheBench, benches: TheBenches, who: Who
) -> Response:
    """Listen to what was typed, or connect it; each fault is said with all that was typed."""
    typed = {k: str(v) for k, v in (await request.form()).items()}
    connecting = _connecting(request)
    do, simulated = typed.get("do", ""), typed.get("source") == SIMULATED
    if do == "inputs" or simulated:
        typed = first_typed(channel_count(typed)) | typed
    try:
        if do == "listen":
            connecting.listen(None if simulated else rig_of({**typed, "name": "-"}))
        if do in ("listen", "inputs"):
            return page(request, "rig/connect.html", _values(request, typed))
        if simulated:
            raise BadInput(told("connect.only_practice"), remedy=told("connect.simulate_how"))
        rig = rig_of(typed)
        if request.app.state.practice:
            raise BadInput(told("connect.practice"), remedy=told("connect.practice_how"))
        connecting.let_go()
        if benches.several:
            raise BadInput(told("connect.several"), remedy=told("connect.several_how"))
        bench.connect(rig)
        keep_rig(shop.folder, rig)
        if rig.name not in rig_names(shop):
            add_rig(shop, rig.name, {}, by=who.name)
    except HeavyspotError as fault:
        return page(
            request, "rig/connect.html", _values(request, typed) | {"fault": fault}, status=422
        )
    return goto("/rigs/edit?name=" + rig.name)
