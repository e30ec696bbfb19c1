"""Models as JSON under /api/v1."""

from __future__ import annotations

from fastapi import APIRouter, Depends

from ...workshop.model.models import add_model, find_model, model_names
from ..access import Who, allowed
from ..answers.common import told
from ..answers.other import ModelMade
from ..contract.problem import HOME
from ..deps import REFUSALS, BodyIn, Shop, example

router = APIRouter(
    prefix=HOME, tags=["models"], responses=REFUSALS, dependencies=[Depends(allowed)]
)


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
