"""The addresses of before the interface had a version: answered for one round more, and marked as deprecated."""

from __future__ import annotations

from starlette.datastructures import MutableHeaders
from starlette.types import ASGIApp, Message, Receive, Scope, Send

from .problem import HOME, OLD_ADDRESS, OLD_HOME

SINCE = "@1795737600"
"""When the version came, as a structured date (RFC 9745, section 2.1): 27 November 2026, UTC."""


class Alias:
    """Leads ``/api/...`` to ``/api/v1/...``; goes around all the rest."""

    def __init__(self, app: ASGIApp) -> None:
        self.app = app

    async def __call__(self, scope: Scope, receive: Receive, send: Send) -> None:
        """Pass a request on, by its new address."""
        path = str(scope.get("path", ""))
        new = new_address(path)
        if scope.get("type") != "http" or new == path:
            await self.app(scope, receive, send)
            return
        raw = scope.get("raw_path") or b""
        moved = {
            **scope,
            "path": new,
            "raw_path": HOME.encode() + raw.removeprefix(OLD_HOME.encode()) if raw else raw,
            OLD_ADDRESS: path,
        }

        async def marked(message: Message) -> None:
            if message.get("type") == "http.response.start":
                headers = MutableHeaders(scope=message)
                headers["Deprecation"] = SINCE
                # the pattern, not this address: a serial may hold what no header can
                headers.append("Link", f'<{HOME}/openapi.json>; rel="successor-version"')
            await send(message)

        await self.app(moved, receive, marked)


def new_address(path: str) -> str:
    """Return where an address of before is now; others stay.

    >>> new_address("/api/pieces"), new_address("/api/v1/pieces"), new_address("/apiary")
    ('/api/v1/pieces', '/api/v1/pieces', '/apiary')
    """
    if path.startswith(OLD_HOME + "/") and not path.startswith(HOME + "/"):
        return HOME + path.removeprefix(OLD_HOME)
    return path
