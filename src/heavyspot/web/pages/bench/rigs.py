"""Each rig's own bench: what is on it, putting a piece there, and its second screen."""

from __future__ import annotations

from urllib.parse import quote

from fastapi import APIRouter, Depends, Request, Response

from ....quantities.errors import BadInput
from ....quantities.said import Said
from ....workshop.cartridge.story import cartridge_story
from ...access import allowed
from ...deps import Shop, TheBench, TheBenches
from ...page import Text, goto, page
from .panel import done, panel_values

router = APIRouter(include_in_schema=False, dependencies=[Depends(allowed)])


@router.get("/at/{rig:path}")
def at_rig(request: Request, rig: str, benches: TheBenches) -> Response:
    """A rig's bench: the bench of the piece on it; on a free rig it is asked which piece is."""
    bench = benches.at(rig)
    if bench.on_it:
        return goto("/bench", bench.on_it)
    return page(request, "bench/free_rig.html", {"rig": rig})


@router.post("/bench/{serial:path}/place")
def place(
    request: Request,
    serial: str,
    shop: Shop,
    bench: TheBench,
    benches: TheBenches,
    rig: Text = "",
) -> Response:
    """Put the piece on a rig; nothing spins."""
    if not rig:
        raise BadInput(
            Said("refusal.no_rig_was_named"), remedy=Said("remedy.press_the_rig_that_the")
        )
    return done(
        request, serial, shop, bench, lambda: benches.put_on(rig, serial),
        after=lambda: benches.of(serial),
    )  # fmt: skip


@router.get("/wall")
def wall(request: Request, shop: Shop, benches: TheBenches, rig: str = "") -> Response:
    """The second screen of a rig: what stands on its bench, large, without controls."""
    if benches.several and not rig:
        places = [(name, f"/wall?rig={quote(name)}") for name in benches.names()]
        return page(request, "bench/walls.html", {"places": places})
    bench = benches.at(rig)
    if not bench.on_it:
        return page(request, "bench/wall_empty.html")
    story = cartridge_story(shop, bench.on_it)
    values = panel_values(request, story, shop, bench) | {"wall_rig": rig}
    return page(request, "bench/wall.html", values)
