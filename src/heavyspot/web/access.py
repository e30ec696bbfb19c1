"""Who may do what over HTTP: one table of every route, held by one dependency."""

from __future__ import annotations

import secrets
from collections.abc import Iterable
from typing import Annotated, Literal

from fastapi import Depends, Request, WebSocket
from starlette.requests import HTTPConnection
from starlette.routing import BaseRoute

from ..quantities.errors import NotAllowed, NotLoggedIn
from ..quantities.said import Said
from ..workshop.people import LOCAL, People, Person, Role

COOKIE = "heavyspot"
ANYONE: Literal["anyone"] = "anyone"
STATION: Literal["station"] = "station"
"""A route that asks for a station's key instead of a login."""

ACCESS: dict[str, Role | Literal["anyone", "station"]] = {
    "GET /login": ANYONE,
    "POST /login": ANYONE,
    "POST /login/passkey": ANYONE,
    "POST /login/passkey/begin": ANYONE,
    "POST /logout": "technician",
    "GET /switch": "technician",
    "POST /switch": "technician",
    "POST /pin": "technician",
    "GET /verify/{number}": ANYONE,
    "GET /health": ANYONE,
    "GET /ready": ANYONE,
    "GET /metrics": "owner",
    "GET /api/v1/openapi.json": "technician",
    "GET /api/v1/problems": ANYONE,
    "GET /api/v1/problems/{code}": ANYONE,
    # the day's work
    "GET /": "technician",
    "GET /book": "technician",
    "GET /book/day.pdf": "technician",
    "POST /sheets/{number}/mail": "technician",
    "POST /post/{id_}": "technician",
    "GET /bench": "technician",
    "GET /find": "technician",
    "GET /search/rows": "technician",
    "GET /search.csv": "technician",
    "GET /search.xlsx": "technician",
    "GET /search.parquet": "technician",
    "GET /pieces": "technician",
    "POST /pieces": "technician",
    "GET /pieces/{serial:path}": "technician",
    "POST /pieces/{serial:path}": "technician",
    "GET /jobs": "technician",
    "GET /jobs/new": "technician",
    "POST /jobs": "technician",
    "GET /jobs/{job_id}": "technician",
    "GET /jobs/{job_id}/sheets.zip": "technician",
    "POST /jobs/{job_id}/sheets": "technician",
    "GET /sheets/{number}.pdf": "technician",
    "GET /sheets/{number}.proof.json": "technician",
    "POST /jobs/{job_id}": "technician",
    "GET /labels.pdf": "technician",
    "GET /wall": "technician",
    "GET /at/{rig:path}": "technician",
    "POST /bench/{serial:path}/place": "technician",
    "GET /bench/{serial:path}": "technician",
    "GET /bench/{serial:path}/panel": "technician",
    "GET /bench/{serial:path}/sheet.pdf": "technician",
    "POST /bench/{serial:path}/sheet": "technician",
    "GET /bench/{serial:path}/label.pdf": "technician",
    "POST /bench/{serial:path}/listen": "technician",
    "GET /recordings/{serial:path}": "technician",
    "GET /help": "technician",
    "GET /help/{name}": "technician",
    "POST /language": "technician",
    "POST /recordings/{serial:path}": "technician",
    "POST /curves/{serial:path}": "technician",
    "POST /bench/{serial:path}/build": "technician",
    "POST /bench/{serial:path}/yes": "technician",
    "POST /bench/{serial:path}/prepare": "technician",
    "POST /bench/{serial:path}/no-more": "technician",
    "POST /bench/{serial:path}/undo": "technician",
    "GET /bench/{serial:path}/scanned": "technician",
    "GET /bench/{serial:path}/differently": "technician",
    "POST /bench/{serial:path}/typed": "technician",
    "POST /bench/{serial:path}/sign": "inspector",
    "POST /bench/{serial:path}/overrule": "inspector",
    "POST /bench/{serial:path}/knowingly": "inspector",
    "POST /bench/{serial:path}/looked": "technician",
    "GET /story/{serial:path}": "technician",
    "POST /story/{serial:path}": "technician",
    "POST /papers/{serial:path}": "technician",
    "GET /papers/{id_}/{serial:path}": "technician",
    "POST /parts/{serial:path}": "technician",
    "POST /bench/{serial:path}/spin": "technician",
    "POST /bench/{serial:path}/stop": "technician",
    "POST /bench/{serial:path}/rescue": "technician",
    "POST /bench/{serial:path}/as-advised": "technician",
    "POST /bench/{serial:path}/ground": "technician",
    "GET /cuts/{cut_id}/{serial:path}": "technician",
    "POST /cuts/{cut_id}/{serial:path}": "technician",
    "GET /look/{number}/{serial:path}": "technician",
    "WS /bench/{serial:path}/live": "technician",
    # what the day's work rests on
    "GET /models": "technician",
    "GET /models/edit": "inspector",
    "POST /models": "inspector",
    "POST /models/text": "inspector",
    "GET /models/card": "inspector",
    "POST /models/card": "inspector",
    "POST /models/card/drop": "inspector",
    "GET /gains": "technician",
    "GET /rigs": "technician",
    "GET /rigs/edit": "inspector",
    "GET /connect": "inspector",
    "POST /connect": "inspector",
    "GET /connect/heard": "inspector",
    "GET /connect/drawing": "inspector",
    "POST /rigs": "inspector",
    "GET /users": "owner",
    "POST /users": "owner",
    "POST /users/end": "owner",
    # the ledger as a whole
    "GET /ledger": "technician",
    "GET /progress/{id_}": "technician",
    "POST /progress/{id_}/stop": "technician",
    "POST /ledger/sheets": "inspector",
    "GET /ledger/sheets/{id_}.zip": "technician",
    "GET /old-book": "inspector",
    "POST /old-book": "inspector",
    "GET /old-book/{id_}": "inspector",
    "POST /old-book/{id_}": "inspector",
    "GET /old-book/{id_}/rejects.csv": "inspector",
    "GET /buildings": "technician",
    "POST /buildings/stations": "owner",
    "POST /buildings/held": "inspector",
    "POST /buildings/clashes": "inspector",
    # rigs, and what was judged on them
    "GET /rig-health/{name:path}": "technician",
    "POST /rig-health/{name:path}/shaker": "technician",
    "POST /rig-health/{name:path}/study": "inspector",
    "GET /rereads": "inspector",
    "POST /rereads": "inspector",
    "POST /rereads/{id_}": "inspector",
    "GET /rereads/{id_}.csv": "inspector",
    "GET /rereads/{id_}": "inspector",
    # the flow bench
    "GET /flow/{serial:path}": "technician",
    "POST /flow/{serial:path}": "technician",
    "GET /flow/{serial:path}/sheet.pdf": "technician",
    "POST /flow/{serial:path}/sheet": "technician",
    "GET /flow-bench/{rig:path}": "inspector",
    "POST /flow-bench/{rig:path}": "inspector",
    "GET /api/v1/pieces/{serial:path}/flow": "technician",
    "POST /api/v1/pieces/{serial:path}/flow": "technician",
    "POST /api/v1/flow-benches/{name}": "inspector",
    # what the shop can learn from itself
    "GET /insight": "technician",
    "GET /insight/pieces": "technician",
    "GET /insight/suppliers": "technician",
    "GET /insight/limits": "technician",
    "GET /insight/claims": "technician",
    "GET /insight/ask": "inspector",
    "POST /insight/ask": "inspector",
    "POST /insight/refresh": "technician",
    # the low-speed machines
    "GET /rotors": "technician",
    "POST /rotors": "technician",
    "GET /rotors/kind": "inspector",
    "POST /rotors/kind": "inspector",
    "GET /rotor/{serial:path}": "technician",
    "GET /rotor/{serial:path}/sheet.pdf": "technician",
    "POST /rotor/{serial:path}/sheet": "technician",
    "POST /rotor/{serial:path}/measure": "technician",
    "POST /rotor/{serial:path}/vibration": "technician",
    "POST /rotor/{serial:path}/spin": "technician",
    "POST /rotor/{serial:path}/stop": "technician",
    "POST /rotor/{serial:path}/as-advised": "technician",
    "POST /rotor/{serial:path}/corrected": "technician",
    "GET /machines/{name:path}": "technician",
    "POST /machines/{name:path}/masses": "technician",
    "POST /machines/{name:path}/index": "technician",
    "POST /machines/{name:path}/residual": "inspector",
    "POST /machines/{name:path}/reduction": "inspector",
    "POST /machines/{name:path}/compensator": "inspector",
    "POST /machines/{name:path}/calibration": "inspector",
    "GET /matching": "technician",
    "POST /matching": "technician",
    # the main house to its stations, which show a key of their own
    "GET /api/v1/exchange": STATION,
    "GET /api/v1/exchange/cursor": STATION,
    "POST /api/v1/exchange/entries": STATION,
    "GET /api/v1/exchange/entries": STATION,
    "GET /api/v1/exchange/files/{name:path}": STATION,
    "PUT /api/v1/exchange/files/{name:path}": STATION,
    "POST /api/v1/exchange/proof": STATION,
    "POST /api/v1/exchange/head": STATION,
    "GET /api/v1/exchange/heads": STATION,
    # the same as JSON
    "GET /api/v1/models": "technician",
    "GET /api/v1/models/{name}": "technician",
    "POST /api/v1/models": "inspector",
    "GET /api/v1/models/{name}/card": "inspector",
    "POST /api/v1/models/{name}/card": "inspector",
    "DELETE /api/v1/models/{name}/card": "inspector",
    "GET /api/v1/gains": "technician",
    "GET /api/v1/rigs": "technician",
    "GET /api/v1/rigs/{name}": "technician",
    "POST /api/v1/rigs": "inspector",
    "GET /api/v1/rotor-kinds": "technician",
    "GET /api/v1/rotor-kinds/{name}": "technician",
    "POST /api/v1/rotor-kinds": "inspector",
    "POST /api/v1/rotors": "technician",
    "GET /api/v1/rotors/{serial:path}": "technician",
    "GET /api/v1/rotors/{serial:path}/sheet.pdf": "technician",
    "POST /api/v1/rotors/{serial:path}/sheets": "technician",
    "POST /api/v1/rotors/{serial:path}/readings": "technician",
    "POST /api/v1/rotors/{serial:path}/corrections": "technician",
    "GET /api/v1/machines/{name}/proofs": "technician",
    "POST /api/v1/machines/{name}/proofs": "inspector",
    "POST /api/v1/matchings": "technician",
    "GET /api/v1/matchings/{id_}": "technician",
    "GET /api/v1/users": "owner",
    "POST /api/v1/users": "owner",
    "DELETE /api/v1/users/{name}": "owner",
    "GET /api/v1/hooks": "owner",
    "POST /api/v1/hooks": "owner",
    "DELETE /api/v1/hooks/{id_}": "owner",
    "POST /api/v1/hooks/{id_}/secret": "owner",
    "POST /api/v1/hooks/{id_}/test": "owner",
    "GET /api/v1/hooks/{id_}/deliveries": "owner",
    "POST /api/v1/hooks/{id_}/deliveries/{delivery}/again": "owner",
    "GET /api/v1/keys": "technician",
    "POST /api/v1/keys": "technician",
    "DELETE /api/v1/keys/{id_}": "technician",
    "GET /hooks": "owner",
    "POST /hooks": "owner",
    "POST /hooks/secret": "owner",
    "POST /hooks/test": "owner",
    "POST /hooks/again": "owner",
    "POST /hooks/end": "owner",
    "GET /keys": "technician",
    "POST /keys": "technician",
    "POST /keys/end": "technician",
    "GET /passkeys": "technician",
    "POST /passkeys": "technician",
    "POST /passkeys/begin": "technician",
    "POST /passkeys/end": "technician",
    "GET /audit": "owner",
    "GET /api/v1/jobs": "technician",
    "POST /api/v1/jobs": "technician",
    "GET /api/v1/jobs/{job_id}": "technician",
    "PATCH /api/v1/jobs/{job_id}": "technician",
    "GET /api/v1/pieces": "technician",
    "GET /api/v1/search": "technician",
    "POST /api/v1/pieces": "technician",
    "GET /api/v1/pieces/{serial:path}": "technician",
    "PATCH /api/v1/pieces/{serial:path}": "technician",
    "GET /api/v1/pieces/{serial:path}/happenings": "technician",
    "POST /api/v1/pieces/{serial:path}/happenings": "technician",
    "GET /api/v1/pieces/{serial:path}/papers": "technician",
    "POST /api/v1/pieces/{serial:path}/papers": "technician",
    "POST /api/v1/pieces/{serial:path}/parts": "technician",
    "POST /api/v1/pieces/{serial:path}/build": "technician",
    "POST /api/v1/pieces/{serial:path}/sign": "inspector",
    "GET /api/v1/pieces/{serial:path}/curves": "technician",
    "GET /api/v1/pieces/{serial:path}/sheet.pdf": "technician",
    "POST /api/v1/pieces/{serial:path}/sheets": "technician",
    "GET /api/v1/sheets/{number}.pdf": "technician",
    "GET /api/v1/pieces/{serial:path}/label.pdf": "technician",
    "POST /api/v1/pieces/{serial:path}/overrule": "inspector",
    "POST /api/v1/pieces/{serial:path}/knowingly": "inspector",
    "POST /api/v1/pieces/{serial:path}/looked": "technician",
    "POST /api/v1/pieces/{serial:path}/cuts": "technician",
    "POST /api/v1/pieces/{serial:path}/spins": "technician",
    "POST /api/v1/pieces/{serial:path}/curves": "technician",
    "POST /api/v1/pieces/{serial:path}/curves/file": "technician",
    "POST /api/v1/pieces/{serial:path}/spins/uploads": "technician",
    "GET /api/v1/uploads/{id_}": "technician",
    "PATCH /api/v1/uploads/{id_}": "technician",
    "DELETE /api/v1/uploads/{id_}": "technician",
    "GET /api/v1/watched": "technician",
    "DELETE /api/v1/cuts/{cut_id}/{serial:path}": "technician",
    "GET /api/v1/bench/{serial:path}": "technician",
    "POST /api/v1/bench/{serial:path}/listen": "technician",
    "POST /api/v1/bench/{serial:path}/spin": "technician",
    "POST /api/v1/bench/{serial:path}/rescue": "technician",
    "POST /api/v1/bench/stop": "technician",
    "GET /api/v1/runs/{number}/passes/{serial:path}": "technician",
    "GET /api/v1/runs/{number}/map/{serial:path}": "technician",
    "GET /api/v1/runs/{number}/moment/{serial:path}": "technician",
    "GET /api/v1/runs/{number}/curve.csv/{serial:path}": "technician",
    "GET /api/v1/runs/{number}/curve.svg/{serial:path}": "technician",
    "GET /api/v1/runs/{number}/recording.uff/{serial:path}": "technician",
    "GET /api/v1/benches": "technician",
    "POST /api/v1/agents/{rig:path}": "technician",
    "POST /api/v1/agents/{rig:path}/spin": "technician",
    "DELETE /api/v1/agents/{rig:path}": "inspector",
    "POST /api/v1/benches/{rig:path}/piece": "technician",
}
"""The least role each route asks for; a route that is not here keeps the program from starting."""

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
