"""Keys with which programs act for a person."""

from __future__ import annotations

from fastapi import APIRouter, Depends, Request, Response

from ....quantities.errors import BadInput, HeavyspotError
from ....quantities.said import Said
from ....workshop.people import SCOPES
from ...access import Who, allowed
from ...deps import ThePeople
from ...page import Text, goto, page

router = APIRouter(include_in_schema=False, dependencies=[Depends(allowed)])


@router.get("/keys")
def keys(request: Request, people: ThePeople, who: Who) -> Response:
    """One's own keys; an owner sees all."""
    return _page(request, people, who)


@router.post("/keys")
def make_key(
    request: Request,
    people: ThePeople,
    who: Who,
    label: Text = "",
    scope: Text = "",
    days: Text = "",
) -> Response:
    """Make a key; this page shows it, and no other ever does."""
    try:
        if not days.strip().isdigit():
            raise BadInput(
                Said("refusal.is_no_number_of_days", {"days": repr(days)}),
                remedy=Said("remedy.days_of_a_key", {"most": 366}),
            )
        key = people.make_key(who, label, scope, int(days))
    except HeavyspotError as fault:
        return _page(request, people, who, fault=fault, label=label, status=422)
    return _page(request, people, who, made=key, status=201)


@router.post("/keys/end")
def end_key(request: Request, people: ThePeople, who: Who, id_: Text = "") -> Response:
    """End a key."""
    people.end_key(id_, who)
    return goto("/keys")


def _page(
    request: Request, people: ThePeople, who: Who, *, status: int = 200, **values: object
) -> Response:
    mine = people.keys("" if who.may("owner") else who.name)
    return page(
        request, "owner/keys.html", {"rows": mine, "scopes": SCOPES, **values}, status=status
    )
