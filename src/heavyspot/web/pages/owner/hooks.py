"""Web hooks: where other programs are told of verdicts and findings, and what came of it."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Annotated

from fastapi import APIRouter, Depends, Form, Request, Response

from ....quantities.errors import HeavyspotError
from ....workshop.hooks import registry, waiting
from ....workshop.shop import Workshop
from ...access import Who, allowed
from ...deps import Shop
from ...page import Text, goto, page

router = APIRouter(include_in_schema=False, dependencies=[Depends(allowed)])

SHOWN = 20
"""Newest deliveries of each hook on the page."""


@dataclass(frozen=True)
class HookView:
    """A hook with its newest deliveries."""

    state: waiting.HookState
    deliveries: list[waiting.Delivery]


@router.get("/hooks")
def hooks(request: Request, shop: Shop) -> Response:
    """The hooks and their newest deliveries."""
    return _page(request, shop)


@router.post("/hooks")
def add_hook(
    request: Request,
    shop: Shop,
    who: Who,
    url: Text = "",
    event: Annotated[list[str] | None, Form()] = None,
) -> Response:
    """Tell an address of what is written from now on; this page shows its secret, and no other ever does."""
    try:
        made = registry.add_hook(shop, url.strip(), event or [], by=who.name)
    except HeavyspotError as fault:
        return _page(request, shop, fault=fault, url=url, chosen=event or [], status=422)
    return _page(request, shop, made=made, status=201)


@router.post("/hooks/secret")
def renew_secret(request: Request, shop: Shop, id_: Text = "") -> Response:
    """Give a hook a new secret, shown here once; one that was paused goes on."""
    return _page(request, shop, made=registry.renew_secret(shop, id_), status=201)


@router.post("/hooks/test")
def test_hook(shop: Shop, id_: Text = "") -> Response:
    """Send a word that tells nothing, to see whether it arrives."""
    waiting.queue_test(shop, id_)
    return goto("/hooks")


@router.post("/hooks/again")
def deliver_again(shop: Shop, id_: Text = "", delivery: Text = "") -> Response:
    """Send a delivery once more."""
    waiting.again(shop, id_, delivery)
    return goto("/hooks")


@router.post("/hooks/end")
def end_hook(shop: Shop, id_: Text = "") -> Response:
    """End a hook; what waits for it is not told any more."""
    registry.end_hook(shop, id_)
    return goto("/hooks")


def _page(request: Request, shop: Workshop, *, status: int = 200, **values: object) -> Response:
    states = waiting.hook_states(shop)
    rows = [HookView(s, waiting.deliveries_of(shop, s.id, SHOWN)) for s in states]
    known = {"rows": rows, "events": registry.EVENTS, "chosen": registry.EVENTS}
    return page(request, "owner/hooks.html", {**known, **values}, status=status)
