"""Models as JSON under /api/v1."""

from __future__ import annotations

from typing import Annotated

from fastapi import APIRouter, Depends, Response
from pydantic import Field

from ...workshop.cartridge.card_units import response_card
from ...workshop.model.card import LARGEST_BYTES, drop_card, take_card
from ...workshop.model.models import add_model, find_model, model_names
from ..access import Who, allowed
from ..answers.common import told
from ..answers.other import CardTaken, ModelMade
from ..contract.problem import HOME
from ..deps import REFUSALS, BodyIn, Shop, Word, example

router = APIRouter(
    prefix=HOME, tags=["models"], responses=REFUSALS, dependencies=[Depends(allowed)]
)


class CardIn(BodyIn):
    """A response card as another shop wrote it, its file's text."""

    model_config = example(text='{"format":"heavyspot response card","version":1}')

    text: Annotated[str, Field(max_length=LARGEST_BYTES)]


class ModelIn(BodyIn):
    """A model: the keys of a model file."""

    model_config = example(content={"name": "Larch 52", "rotation": "clockwise"})

    content: dict[str, object]


@router.get("/models", response_model=None, responses=told(list[str]))
def list_models(shop: Shop) -> list[str]:
    """List the models."""
    return model_names(shop)


@router.get("/models/{name}", response_model=None, responses=told(dict[str, object]))
def get_model(name: str, shop: Shop) -> dict[str, object]:
    """Return a model's keys."""
    return find_model(shop, name).model_dump(mode="json", exclude_unset=True)


@router.post("/models", status_code=201, response_model=None, responses=told(ModelMade, 201))
def create_model(model: ModelIn, shop: Shop, who: Who) -> dict[str, str]:
    """Add a model, or a new version of it."""
    return {"model": add_model(shop, model.content, by=who.name).name}


@router.get("/models/{name}/card", response_model=None, responses=told(dict[str, object]))
def get_response_card(name: str, shop: Shop, rig: Word = "") -> Response:
    """Write a model's response card, signed: its units' responses without any unit."""
    return Response(
        response_card(shop, name, rig=rig).model_dump_json(), media_type="application/json"
    )


@router.post(
    "/models/{name}/card", status_code=201, response_model=None, responses=told(CardTaken, 201)
)
def take_response_card(name: str, card: CardIn, shop: Shop, who: Who) -> dict[str, object]:
    """Begin a model's first units with another shop's card; compare the fingerprint with its maker."""
    got = take_card(shop, card.text, as_model=name, by=who.name)
    return {"model": name, "units": got.units, "shop": got.shop, "fingerprint": got.fingerprint()}


@router.delete("/models/{name}/card", status_code=204)
def drop_response_card(name: str, shop: Shop, who: Who) -> None:
    """Lean on a model's card no more."""
    drop_card(shop, name, by=who.name)
