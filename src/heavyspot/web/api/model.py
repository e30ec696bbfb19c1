"""Models as JSON under /api."""

from __future__ import annotations

from typing import Any

from fastapi import APIRouter, Depends

from ..access import Who, allowed
from ..deps import REFUSALS, BodyIn, Shop

router = APIRouter(prefix="/api", responses=REFUSALS, dependencies=[Depends(allowed)])


class ModelIn(BodyIn):
    """A model: the keys of a model file."""

    content: dict[str, Any]


@router.get("/models")
def models(shop: Shop) -> list[str]:
    """List the models."""
    return shop.book.model_names()


@router.get("/models/{name}")
def model(name: str, shop: Shop) -> dict[str, Any]:
    """Return a model's keys."""
    return shop.model(name).model_dump(mode="json", exclude_unset=True)


@router.post("/models", status_code=201)
def add_model(model: ModelIn, shop: Shop, who: Who) -> dict[str, str]:
    """Add a model, or a new version of it."""
    return {"model": shop.add_model(model.content, by=who.name).name}
