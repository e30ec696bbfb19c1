"""Passkeys: one's own, an owner's view of all, and logging in by one."""

from __future__ import annotations

from fastapi import APIRouter, Depends, Request, Response

from ....quantities.errors import BadInput, HeavyspotError
from ....workshop.passkeys import Site, site_of
from ...access import Who, allowed
from ...contract.problem import refusal
from ...deps import ThePasskeys
from ...page import Text, goto, page
from ..people import address_of, entered

router = APIRouter(include_in_schema=False, dependencies=[Depends(allowed)])


def site(request: Request) -> Site:
    """Return the site as the browser has it open; raises `BadInput` where browsers make no passkeys."""
    return site_of(request.url.scheme, request.headers.get("host", ""))


@router.get("/passkeys")
def passkeys(request: Request, keys: ThePasskeys, who: Who) -> Response:
    """One's own passkeys; an owner sees all."""
    return _page(request, keys, who)


@router.post("/passkeys/begin")
def begin_adding(request: Request, keys: ThePasskeys, who: Who, password: Text = "") -> Response:
    """What the browser needs to make one; the page's script asks."""
    try:
        made = keys.begin_adding(who, password, site(request), where=address_of(request))
    except HeavyspotError as fault:
        return refusal(request.scope, fault)
    return Response(made, media_type="application/json")


@router.post("/passkeys")
def add(
    request: Request, keys: ThePasskeys, who: Who, label: Text = "", answer: Text = ""
) -> Response:
    """Keep one that the browser has just made."""
    try:
        keys.add(who, label, answer, site(request))
    except HeavyspotError as fault:
        return _page(request, keys, who, fault=fault, label=label, status=422)
    return goto("/passkeys")


@router.post("/passkeys/end")
def end(request: Request, keys: ThePasskeys, who: Who, id_: Text = "") -> Response:
    """End one, and the logins that began by it."""
    keys.end(id_, who)
    return goto("/passkeys")


@router.post("/login/passkey/begin")
def begin_login(request: Request, keys: ThePasskeys) -> Response:
    """What the browser needs to show one; the page's script asks."""
    try:
        return Response(keys.begin_login(site(request)), media_type="application/json")
    except HeavyspotError as fault:
        return refusal(request.scope, fault)


@router.post("/login/passkey")
def log_in(request: Request, keys: ThePasskeys, answer: Text = "") -> Response:
    """Log in by one."""
    try:
        token = keys.log_in(answer, site(request))
    except BadInput as fault:
        return page(request, "people/login.html", {"fault": fault}, status=422)
    return entered(request, token)


def _page(
    request: Request, keys: ThePasskeys, who: Who, *, status: int = 200, **values: object
) -> Response:
    try:
        site(request)
        here = None
    except BadInput as fault:
        here = fault
    mine = keys.passkeys("" if who.may("owner") else who.name)
    return page(
        request, "owner/passkeys.html", {"rows": mine, "not_here": here, **values}, status=status
    )
