"""Rigs as JSON under /api."""

from __future__ import annotations

from fastapi import APIRouter, Depends
from pydantic import Field

from ...workshop.rig.record import add_rig, find_rig, rig_names
from ..access import Who, allowed
from ..deps import REFUSALS, BodyIn, Shop, Word

router = APIRouter(prefix="/api", responses=REFUSALS, dependencies=[Depends(allowed)])


class RigIn(BodyIn):
    """A rig: its name and the keys of its record."""

    name: Word
    content: dict[str, object] = Field(default_factory=dict)


@router.get("/rigs")
def rigs(shop: Shop) -> list[str]:
    """List the rigs."""
    return rig_names(shop)


@router.get("/rigs/{name}")
def rig(name: str, shop: Shop) -> dict[str, object]:
    """Return a rig's record."""
    return find_rig(shop, name).model_dump(mode="json")


@router.post("/rigs", status_code=201)
def post_rig(rig: RigIn, shop: Shop, who: Who) -> dict[str, str]:
    """Add a rig, or a new version of it."""
    add_rig(shop, rig.name, rig.content, by=who.name)
    return {"rig": rig.name.strip()}
