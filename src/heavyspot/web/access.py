"""Who may do what over HTTP: the table of every route (`roles`), held by one dependency."""

from __future__ import annotations

import secrets
from collections.abc import Iterable
from typing import Annotated

from fastapi import Depends, Request, WebSocket
from starlette.requests import HTTPConnection
from starlette.routing import BaseRoute

from ..quantities.errors import NotAllowed, NotLoggedIn
from ..quantities.said import Said
from ..workshop.people import LOCAL, People, Person
from .roles import ACCESS, ANYONE, STATION

COOKIE = "heavyspot"
METRICS = "/metrics"
NEVER_BY_KEY = ("/api/v1/users", "/api/v1/keys", "/api/v1/hooks")
"""Who may do what, and who is told, is said by a person."""


def person_of(request: HTTPConnection) -> Person:
    """Return who is asking; nobody in particular where no account is needed."""
    person: Person = getattr(request.state, "person", LOCAL)
    return person


async def allowed(request: Request) -> Person:
    """Return who is asking; raises `NotAllowed` when the route asks for more."""
    person = asking(request)
    route = request.scope["route"]
    role = ACCESS[f"{_method(request.method)} {route.path}"]
    if role not in (ANYONE, STATION):
        if person is None:
            raise NotLoggedIn(Said("refusal.log_in_first"), remedy=Said("remedy.post_to_login"))
        _refuse_beyond_scope(request, person, route.path)
        if not person.may(role) and not (person.scope == "metrics" and route.path == METRICS):
            who = {"role": role, "name": person.name, "role_2": person.role}
            why = Said("refusal.this_asks_for_the_role", who)
            raise NotAllowed(why, remedy=Said("remedy.ask_an_owner_of_the"))
        if person.csrf and request.method not in ("GET", "HEAD"):
            await _check_csrf(request, person)
    request.state.person = person or Person("", "technician")
    return person_of(request)


def asking(request: Request) -> Person | None:
    """Return who asks: by a key where one is shown, else by the login; None when it is nobody."""
    state = request.app.state
    if not state.accounts_needed:
        return LOCAL
    kind, _, key = request.headers.get("authorization", "").partition(" ")
    by_key = kind.lower() == "bearer"  # RFC 6750, section 2.1
    people: People = state.people
    return people.by_key(key.strip()) if by_key else people.who(request.cookies.get(COOKIE, ""))


def _refuse_beyond_scope(request: Request, person: Person, path: str) -> None:
    """Raise `NotAllowed` where a key does not reach: its scope, the screens, and who may do what."""
    if person.scope is None:
        return
    reads = request.method in ("GET", "HEAD")
    within = {
        "read": reads and path.startswith("/api/v1/"),
        "write": path.startswith("/api/v1/"),
        "metrics": reads and path == METRICS,
    }[person.scope]
    if not within or path.startswith(NEVER_BY_KEY):
        raise NotAllowed(
            Said("refusal.a_key_with_the_scope", {"scope": person.scope}),
            remedy=Said("remedy.make_another_key"),
        )


def socket_person(socket: WebSocket) -> Person | None:
    """Return who opens a websocket, or None when nobody is logged in who needs to be."""
    if not socket.app.state.accounts_needed:
        return LOCAL
    found: Person | None = socket.app.state.people.who(socket.cookies.get(COOKIE, ""))
    return found


async def _check_csrf(request: Request, person: Person) -> None:
    sent = request.headers.get("x-csrf-token")
    if sent is None and "form" in request.headers.get("content-type", ""):
        sent = str((await request.form()).get("csrf", ""))
    if not secrets.compare_digest(sent or "", person.csrf):
        raise NotAllowed(Said("refusal.older_login"), remedy=Said("remedy.load_the_page_again"))


Who = Annotated[Person, Depends(allowed)]


def _method(method: str) -> str:
    return "GET" if method == "HEAD" else method


def refuse_unlisted(routes: Iterable[BaseRoute]) -> None:
    """Raise `RuntimeError` for a route without a line in `ACCESS`: none may be open by oversight."""
    for key in route_keys(routes):
        if key not in ACCESS:
            raise RuntimeError(f"no role is set for {key}")


def route_keys(routes: Iterable[BaseRoute]) -> list[str]:
    """Return ``METHOD path`` of every route; ``WS`` for a websocket."""
    keys = []
    for route in routes:
        path = getattr(route, "path", "")
        methods = getattr(route, "methods", None) or {"WS"}
        keys += [f"{m} {path}" for m in methods if m != "HEAD"]
    return keys
