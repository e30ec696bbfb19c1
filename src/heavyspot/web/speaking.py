"""Whom a page speaks to: their language and the shop's clock, known everywhere while a request is answered."""

from __future__ import annotations

from contextvars import ContextVar
from dataclasses import dataclass

from starlette.requests import HTTPConnection
from starlette.types import ASGIApp, Receive, Scope, Send

from ..quantities.errors import HeavyspotError
from ..quantities.said import LANGUAGES, Said, Value, in_words

CHOICE = "heavyspot-language"
"""Cookie with the language somebody chose on this screen."""


@dataclass(frozen=True)
class Speaking:
    """How somebody is spoken to.

    Attributes
    ----------
    zone : str
        Time zone; the computer's own when empty.
    """

    language: str = "en"
    zone: str = ""


NOBODY = Speaking()
_now: ContextVar[Speaking] = ContextVar("speaking", default=NOBODY)


def language() -> str:
    """Return the language of the page that is being made."""
    return _now.get().language


def zone() -> str:
    """Return the time zone of the page that is being made."""
    return _now.get().zone


def told(code: str, **values: Value) -> str:
    """Return a sentence of the catalogue in the language of the page that is being made."""
    return in_words(Said(code, values), language())


def spoken(said: Said | str) -> str:
    """Return a sentence in the language of the page that is being made; words without a code as they are."""
    return said if isinstance(said, str) else in_words(said, language())


def refused(fault: HeavyspotError) -> str:
    """Return what is wrong and what to do about it, in the language of the page that is being made."""
    return f"{spoken(fault.told)} {spoken(fault.to_do)}".strip()


class Speaks:
    """Sets, for each request, how its page speaks."""

    def __init__(self, app: ASGIApp, zone: str = "", language: str = "en") -> None:
        self.app, self.zone, self.language = app, zone, language

    async def __call__(self, scope: Scope, receive: Receive, send: Send) -> None:
        """Answer a request in its language."""
        if scope.get("type") in ("http", "websocket"):
            _now.set(Speaking(self._language(HTTPConnection(scope)), self.zone))
        await self.app(scope, receive, send)

    def _language(self, connection: HTTPConnection) -> str:
        page = connection.query_params.get("speaks", "")  # of the page that opened a live line
        for chosen in (page, connection.cookies.get(CHOICE, "")):
            if chosen in LANGUAGES:
                return chosen
        asked = connection.headers.get("accept-language")
        return best_of(asked) or self.language if asked else self.language


def best_of(accept: str) -> str:
    """Return the language of ours that a browser likes best (RFC 9110, 12.5.4); empty for none.

    >>> best_of("nb-NO,nb;q=0.9,fr-CA;q=0.8,en;q=0.5"), best_of("ja"), best_of("de;q=0")
    ('fr', '', '')
    """
    liked = []
    for i, part in enumerate(accept.split(",")):
        tag, _, weight = part.partition(";")
        name = tag.strip().lower().partition("-")[0]
        try:
            q = float(weight.strip().removeprefix("q=")) if weight else 1.0
        except ValueError:
            q = 0.0
        if name in LANGUAGES and q > 0:
            liked.append((-q, i, name))
    return min(liked)[2] if liked else ""
