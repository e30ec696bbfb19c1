"""Response cards in the browser: written, taken from another shop, leant on no more."""

from __future__ import annotations

from typing import Annotated

from fastapi import APIRouter, Depends, File, Form, Request, Response, UploadFile

from ...quantities.errors import BadInput, HeavyspotError
from ...quantities.said import Said
from ...workshop.cartridge.card_units import response_card
from ...workshop.model.card import LARGEST_BYTES, drop_card, take_card
from ..access import Who, allowed
from ..deps import Shop
from ..page import goto
from .model import models_page

router = APIRouter(include_in_schema=False, dependencies=[Depends(allowed)])


@router.get("/models/card")
def written(request: Request, shop: Shop, name: str) -> Response:
    """A model's card as a file."""
    try:
        card = response_card(shop, name)
    except HeavyspotError as fault:
        return models_page(request, shop, fault=fault, status=422)
    headers = {"Content-Disposition": 'attachment; filename="response-card.json"'}
    return Response(card.model_dump_json(), media_type="application/json", headers=headers)


@router.post("/models/card")
async def taken(
    request: Request,
    shop: Shop,
    who: Who,
    name: Annotated[str, Form()] = "",
    file: Annotated[UploadFile | None, File()] = None,
) -> Response:
    """Begin a model's first units with a card."""
    content = await file.read(LARGEST_BYTES + 1) if file else b""
    try:
        if not content:
            raise BadInput(
                Said("refusal.no_file_was_chosen"),
                remedy=Said("remedy.choose_another_shop_response_card"),
            )
        take_card(shop, content, as_model=name, by=who.name)
    except HeavyspotError as fault:
        return models_page(request, shop, fault=fault, status=422)
    return goto("/models#" + name)


@router.post("/models/card/drop")
def dropped(request: Request, shop: Shop, who: Who, name: Annotated[str, Form()] = "") -> Response:
    """Lean on a model's card no more."""
    try:
        drop_card(shop, name, by=who.name)
    except HeavyspotError as fault:
        return models_page(request, shop, fault=fault, status=422)
    return goto("/models#" + name)
