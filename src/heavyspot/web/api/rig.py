"""Rigs as JSON under /api/v1."""

from __future__ import annotations

from fastapi import APIRouter, Depends
from pydantic import Field

from ...workshop.rig.record import add_rig, find_rig, rig_names
from ..access import Who, allowed
from ..answers.common import told
from ..answers.other import RigMade, RigTold
from ..contract.problem import HOME
from ..deps import REFUSALS, BodyIn, Shop, Word, example

router = APIRouter(
    prefix=HOME, tags=["models"], responses=REFUSALS, dependencies=[Depends(allowed)]
)


class RigIn(BodyIn):
    """A rig: its name and the keys of its record."""

    model_config = example(
        name="High-speed rig 1", content={"building": "north", "due": "2027-05-04"}
    )

    name: Word
    content: dict[str, object] = Field(default_factory=dict)


@router.get("/rigs", response_model=None, responses=told(list[str]))
def list_rigs(shop: Shop) -> list[str]:
    """List the rigs."""
    return rig_names(shop)


@router.get("/rigs/{name}", response_model=None, responses=told(RigTold))
def get_rig(name: str, shop: Shop) -> dict[str, object]:
    """Return a rig's record."""
    return find_rig(shop, name).model_dump(mode="json")


@router.post("/rigs", status_code=201, response_model=None, responses=told(RigMade, 201))
def create_rig(rig: RigIn, shop: Shop, who: Who) -> dict[str, str]:
    """Add a rig, or a new version of it."""
    add_rig(shop, rig.name, rig.content, by=who.name)
    return {"rig": rig.name.strip()}
