"""Each request gets an id and a line in the log, and is counted; a fault of ours is told with its id alone."""

from __future__ import annotations

import logging
import re
import time
import uuid

from starlette.datastructures import Headers, MutableHeaders
from starlette.types import ASGIApp, Message, Receive, Scope, Send

from ..contract.problem import problem
from .log import REQUEST, log, say
from .metrics import Metrics

HEADER = "X-Request-Id"
_ID = re.compile(r"[A-Za-z0-9_-]{8,64}")


class Watched:
    """Goes around all the rest."""

    def __init__(self, app: ASGIApp, metrics: Metrics) -> None:
        self.app, self.metrics = app, metrics

    async def __call__(self, scope: Scope, receive: Receive, send: Send) -> None:
        """Pass a request on, and write down what came of it."""
        if scope.get("type") != "http":
            await self.app(scope, receive, send)
            return
        given = Headers(scope=scope).get(HEADER, "")
        id_ = given if _ID.fullmatch(given) else uuid.uuid4().hex
        token, began, status = REQUEST.set(id_), time.perf_counter(), 0

        async def watched(message: Message) -> None:
            nonlocal status
            if message.get("type") == "http.response.start":
                status = int(message.get("status", 0))
                MutableHeaders(scope=message)[HEADER] = id_
            await send(message)

        try:
            await self.app(scope, receive, watched)
        except Exception:
            log.exception("fault")
            if not status:
                told, remedy = "The program made a mistake.", f"Tell who looks after it: {id_}"
                answer = problem(scope, 500, "program-fault", told, remedy, request_id=id_)
                await answer(scope, receive, watched)
            raise
        finally:
            seconds = time.perf_counter() - began
            route = getattr(scope.get("route"), "path", "") or _mounted(scope)
            asked = str(scope.get("method"))
            method = asked if asked in _METHODS else "OTHER"
            self.metrics.count(method, route, status, seconds)
            level = logging.WARNING if status in (401, 403, 429) else logging.INFO
            person = scope.get("state", {}).get("person")
            say(
                "request", level if status < 500 else logging.ERROR, method=method, route=route,
                status=status, ms=round(1000 * seconds, 1), who=getattr(person, "name", "") or None,
            )  # fmt: skip
            REQUEST.reset(token)


_METHODS = ("GET", "HEAD", "POST", "PUT", "PATCH", "DELETE", "OPTIONS")


def _mounted(scope: Scope) -> str:
    """Return the route of what no route answered: files of ours, or nothing there."""
    return "/static" if str(scope.get("path", "")).startswith("/static/") else "none"
