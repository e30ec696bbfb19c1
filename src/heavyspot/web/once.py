"""The header ``Idempotency-Key``, after the IETF's draft, and the hidden field of forms that does the same.

A write that is sent again, by a retry, a double press or a page sent twice, is not done again: it gets the first
answer. The key stands in the ledger's own transaction, so that a cut between writing and answering doubles nothing.
Keys belong to who sends them; a header's key with another content is refused, a form's is a new write.
"""

from __future__ import annotations

import asyncio
import re
import secrets
from collections.abc import Awaitable, Callable
from urllib.parse import parse_qs

from fastapi import Request, Response

from ..quantities.errors import BadInput
from ..workshop.once import Answer, Asked, asked_once, digest_of, first_answer, keep_answer
from .access import asking
from .contract.problem import HOME, OLD_HOME, problem, refusal

HEADER, FIELD = "Idempotency-Key", "once"
LONGEST_KEY = 200
LARGEST_KEPT = 1_000_000
"""Bytes of an answer that is kept; a larger one is told to be done."""

NEVER = (
    "/login",
    "/logout",
    "/pin",
    "/switch",
    "/keys",
    "/hooks",
    "/passkeys",
    "/api/v1/keys",
    "/api/v1/hooks",
)
"""Who is logged in is no work, and such an answer carries a secret."""

LOST = "Look at what is there; do not send it under another key."

PATIENCE_S = 3.0
"""How long the second of two that came at once waits for the first one's answer."""

_CHANGES = re.compile(rb"(^|&)(csrf|once)=[^&]*")


def new_form_key() -> str:
    """Return the key of a form that is being shown."""
    return secrets.token_urlsafe(16)


async def once(request: Request, call: Callable[[Request], Awaitable[Response]]) -> Response:
    """Do a write that carries a key once; give the first answer to whoever sends it again."""
    if request.method in ("GET", "HEAD", "OPTIONS") or request.url.path.startswith(NEVER):
        return await call(request)
    try:
        asked = await _asked(request)
        if asked is None:
            return await call(request)
        shop = request.app.state.shop
        before = await asyncio.to_thread(first_answer, shop, *asked)
    except BadInput as fault:
        return refusal(request.scope, fault)
    if before is not None:
        return await _again(request, before)
    with asked_once(*asked) as now:
        answer = await call(request)
    if now.done_before:  # another one with the same key was faster
        return await _again(request, Answer(*asked, at=""))
    return await _kept(request, now, answer) if now.written else answer


async def _asked(request: Request) -> tuple[str, str] | None:
    """Return key and digest of a request, or None when it carries no key."""
    header, body = request.headers.get(HEADER, ""), b""
    kind = request.headers.get("content-type", "")
    typed = ""
    if header or kind.startswith("application/x-www-form-urlencoded"):
        body = await request.body()
        if not header:
            typed = parse_qs(body.decode(errors="replace")).get(FIELD, [""])[0]
    key = header.strip().strip('"') or typed
    if not key:
        return None
    if len(key) > LONGEST_KEY or not key.isprintable():
        raise BadInput("An idempotency key has one to 200 letters.", remedy="A UUID will do.")
    said = _without_boundary(kind, _CHANGES.sub(b"", body))
    path = request.url.path.replace(
        HOME, OLD_HOME, 1
    )  # a key of before the version is the same key
    digest = digest_of(request.method, path, request.url.query, said)
    state = request.app.state
    person = await asyncio.to_thread(asking, request) if state.accounts_needed else None
    who = [person.name if person else "", request.headers.get("x-station-key", "")]
    return digest_of("http", *who, key, "" if header else digest), digest


def _without_boundary(kind: str, body: bytes) -> bytes:
    """Return a form's body without what stands between its parts: every sending draws another."""
    found = re.search(r'^multipart/form-data;.*boundary="?([^";,]+)', kind, re.IGNORECASE)
    return body.replace(b"--" + found[1].encode(), b"") if found else body


async def _again(request: Request, before: Answer) -> Response:
    shop, waited = request.app.state.shop, 0.0
    found: Answer | None = before
    while found is not None and found.status is None and waited < PATIENCE_S:
        waited += 0.1
        await asyncio.sleep(0.1)
        found = await asyncio.to_thread(first_answer, shop, before.key, before.digest)
    if found is None or found.status is None:
        return problem(
            request.scope, 409, "done-before", "It was done, and its answer is lost.", LOST
        )
    headers = {"Idempotency-Replayed": "true"} | ({"Location": found.place} if found.place else {})
    return Response(found.body, found.status, headers, found.kind or None)


async def _kept(request: Request, asked: Asked, answer: Response) -> Response:
    """Keep an answer, and give it."""
    parts = [part async for part in answer.body_iterator]  # type: ignore[attr-defined]  # a middleware's answer streams
    body = b"".join(p if isinstance(p, bytes) else str(p).encode() for p in parts)
    given = Response(body, answer.status_code)
    given.raw_headers = [h for h in answer.raw_headers if h[0] != b"content-length"]
    given.headers["content-length"] = str(len(body))
    secret = "set-cookie" in answer.headers
    if len(body) <= LARGEST_KEPT and not secret:
        kept = Answer(
            asked.key, asked.digest, "", answer.status_code,
            answer.headers.get("content-type", ""), answer.headers.get("location", ""), body,
        )  # fmt: skip
        await asyncio.to_thread(keep_answer, request.app.state.shop, kept)
    return given
