"""Models as JSON under /api."""

from __future__ import annotations

from fastapi import APIRouter, Depends

from ...workshop.model.models import add_model, find_model, model_names
from ..access import Who, allowed
from ..deps import REFUSALS, BodyIn, Shop

router = APIRouter(prefix="/api", responses=REFUSALS, dependencies=[Depends(allowed)])


class ModelIn(BodyIn):
    """A model: the keys of a model file."""

    content: dict[str, object]


@router.get("/models")
def models(shop: Shop) -> list[str]:
    """List the models."""
    return model_names(shop)


@router.get("/models/{name}")
def model(name: str, shop: Shop) -> dict[str, object]:
    """Return a model's keys."""
    return find_model(shop, name).model_dump(mode="json", exclude_unset=True)


@router.post("/models", status_code=201)
def post_model(model: ModelIn, shop: Shop, who: Who) -> dict[str, str]:
    """Add a model, or a new version of it."""
    return {"model": add_model(shop, model.content, by=who.name).name}
