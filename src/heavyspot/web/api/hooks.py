"""Web hooks: where other programs are told of verdicts and findings, and what came of each delivery."""

from __future__ import annotations

from dataclasses import asdict
from typing import Annotated, Literal

from fastapi import APIRouter, Depends, Query
from pydantic import Field

from ...workshop.hooks import registry, waiting
from ..access import Who, allowed
from ..answers.common import told
from ..answers.hooks import DeliveryTold, HookMade, HookTold
from ..answers.other import EndedTold
from ..contract.problem import HOME
from ..deps import REFUSALS, BodyIn, Shop, example

router = APIRouter(prefix=HOME, tags=["hooks"], responses=REFUSALS, dependencies=[Depends(allowed)])

Event = Literal["verdict", "finding", "overruled"]
EVERY: list[Event] = ["verdict", "finding", "overruled"]


class HookIn(BodyIn):
    """A web hook: HTTPS, or this computer itself."""

    model_config = example(url="https://example.org/heavyspot", events=["verdict", "finding"])

    url: Annotated[str, Field(min_length=1, max_length=2000)]
    events: Annotated[list[Event], Field(min_length=1, max_length=3)] = Field(
        default_factory=EVERY.copy
    )


@router.get("/hooks", response_model=None, responses=told(list[HookTold]))
def list_hooks(shop: Shop) -> list[dict[str, object]]:
    """List the hooks, with how many deliveries wait and why one is paused."""
    return [asdict(h) for h in waiting.hook_states(shop)]


@router.post("/hooks", status_code=201, response_model=None, responses=told(HookMade, 201))
def create_hook(body: HookIn, shop: Shop, who: Who) -> dict[str, object]:
    """Tell an address of what is written from now on; the secret is in this answer and never again."""
    return _made(registry.add_hook(shop, body.url, body.events, by=who.name))


@router.post(
    "/hooks/{id_}/secret", status_code=201, response_model=None, responses=told(HookMade, 201)
)
def renew_hook_secret(id_: str, shop: Shop) -> dict[str, object]:
    """Give a hook a new secret, and let it go on if it was paused."""
    return _made(registry.renew_secret(shop, id_))


@router.post(
    "/hooks/{id_}/test", status_code=202, response_model=None, responses=told(DeliveryTold, 202)
)
def test_hook(id_: str, shop: Shop) -> dict[str, object]:
    """Send a hook a word that tells nothing, to see whether it arrives."""
    return asdict(waiting.queue_test(shop, id_))


@router.delete("/hooks/{id_}", response_model=None, responses=told(EndedTold))
def end_hook(id_: str, shop: Shop) -> dict[str, str]:
    """End a hook; what waits for it is not told any more."""
    registry.end_hook(shop, id_)
    return {"ended": id_}


@router.get("/hooks/{id_}/deliveries", response_model=None, responses=told(list[DeliveryTold]))
def list_deliveries(
    id_: str, shop: Shop, limit: Annotated[int, Query(ge=1, le=500)] = 100
) -> list[dict[str, object]]:
    """List what was told, or waits, newest first; what is over is kept for the newest 500."""
    return [asdict(d) for d in waiting.deliveries_of(shop, id_, limit)]


@router.post(
    "/hooks/{id_}/deliveries/{delivery}/again",
    status_code=202,
    response_model=None,
    responses=told(DeliveryTold, 202),
)
def deliver_again(id_: str, delivery: str, shop: Shop) -> dict[str, object]:
    """Send a delivery once more, under its own id."""
    return asdict(waiting.again(shop, id_, delivery))


def _made(hook: registry.Hook) -> dict[str, object]:
    return {"id": hook.id, "url": hook.url, "events": list(hook.events), "secret": hook.secret}
