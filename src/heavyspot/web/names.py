"""What a server without accounts is called: loopback's own names, asked directly and by nobody in between.

Whoever reaches such a server is the shop's owner. A page elsewhere must not reach it under a name of its own, and a
proxy on this computer, which would bring everybody in, is noticed by what it adds to a request.
"""

from __future__ import annotations

from starlette.datastructures import Headers
from starlette.types import ASGIApp, Receive, Scope, Send

from .contract.problem import problem

OWN = ("127.0.0.1", "localhost", "[::1]")

BETWEEN = (
    "forwarded", "via", "x-forwarded-for", "x-forwarded-host", "x-forwarded-proto", "x-forwarded-server",
    "x-real-ip", "x-client-ip", "true-client-ip", "x-original-forwarded-for",
)  # fmt: skip
"""Headers that proxies add (RFC 7239, RFC 9110 section 7.6.3, and common practice without a standard)."""


class OwnNames:
    """Answers only who asks this computer itself."""

    def __init__(self, app: ASGIApp) -> None:
        self.app = app

    async def __call__(self, scope: Scope, receive: Receive, send: Send) -> None:
        """Pass a request on, or refuse it."""
        refusal = (
            _refusal(Headers(scope=scope)) if scope.get("type") in ("http", "websocket") else ""
        )
        if not refusal:
            await self.app(scope, receive, send)
        elif scope.get("type") == "websocket":
            await send({"type": "websocket.close", "code": 1008})
        else:
            await problem(scope, 400, "wrong-host", refusal)(scope, receive, send)


class OwnSockets:
    """Lets no other site's page open a websocket: a browser says whose page asks."""

    def __init__(self, app: ASGIApp) -> None:
        self.app = app

    async def __call__(self, scope: Scope, receive: Receive, send: Send) -> None:
        """Pass a request on, or refuse it."""
        if scope.get("type") == "websocket":
            headers = Headers(scope=scope)
            origin = headers.get("origin")
            if origin is not None and origin.split("://", 1)[-1] != headers.get("host"):
                await send({"type": "websocket.close", "code": 1008})
                return
        await self.app(scope, receive, send)


def _refusal(headers: Headers) -> str:
    host = headers.get("host", "").lower()
    name = host if host.endswith("]") else host.rpartition(":")[0] or host
    if name not in OWN:
        return "Invalid host header: without accounts this server is asked as localhost only."
    between = [h for h in BETWEEN if h in headers]
    if between:
        return (
            f"A proxy stands before this server ({between[0]}), and everybody it lets in would be the owner. "
            "Start it with --accounts, and name the proxy with --behind-proxy."
        )
    return ""
