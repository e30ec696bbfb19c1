"""Another serial is scanned at the bench: a question, and nothing else."""

from __future__ import annotations

from urllib.parse import quote

from fastapi import APIRouter, Depends, Request, Response

from ....quantities.errors import BadInput, HeavyspotError
from ....quantities.said import Said
from ....workshop.cartridge.story import cartridge_story
from ....workshop.job.lookup import has_piece
from ....workshop.shop import find_piece
from ...access import allowed
from ...deps import Shop, TheBenches
from ...page import page
from ...views.bench.scanned import scanned_view

router = APIRouter(include_in_schema=False, dependencies=[Depends(allowed)])

LONGEST = 120


@router.get("/bench/{serial:path}/scanned")
def scanned(
    request: Request, serial: str, shop: Shop, benches: TheBenches, text: str = ""
) -> Response:
    """Ask whether to keep the piece on the bench or change to the one scanned; nothing is written."""
    text = text.strip()
    if not text or len(text) > LONGEST:
        raise BadInput(
            Said("refusal.nothing_was_scanned"), remedy=Said("remedy.scan_the_label_again")
        )
    piece = find_piece(shop, text) if has_piece(shop, text) else None
    try:
        story = cartridge_story(shop, serial)
    except (
        HeavyspotError
    ):  # the bench's own piece cannot be told of: the question stands all the same
        story = None
    rig = benches.rig_of(serial)
    values = {
        "view": scanned_view(serial, text, piece, story),
        "place": f"/find?q={quote(text)}" + (f"&rig={quote(rig)}" if rig else ""),
        "serial": serial,
        "text": text,
    }
    return page(request, "bench/scanned.html", values)
