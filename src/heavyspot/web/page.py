"""What every page shares: the templates, who is asking, typed numbers."""

from __future__ import annotations

from pathlib import Path
from typing import Annotated, Any
from urllib.parse import quote

from fastapi import Form, Request, Response
from fastapi.responses import RedirectResponse
from fastapi.templating import Jinja2Templates
from markupsafe import Markup

from .._version import __version__
from ..quantities.errors import HeavyspotError
from ..quantities.words import short
from ..sheet.words import LANGUAGES
from ..workshop.cartridge.results import percent
from .access import person_of

Text = Annotated[str, Form()]

VERDICT_WORDS = {"pass": "✓ passed", "fail": "✗ over", "undecided": "? open"}


def _context(request: Request) -> dict[str, Any]:
    person = person_of(request)
    hidden = Markup('<input type="hidden" name="csrf" value="{}">').format(person.csrf)
    return {
        "who": person,
        "csrf": hidden if person.csrf else Markup(""),
        "swap": by_script(request),
    }


templates = Jinja2Templates(Path(__file__).parent / "templates", context_processors=[_context])
templates.env.filters["percent"] = percent
templates.env.filters["short"] = short
templates.env.globals |= {
    "version": __version__,
    "verdicts": VERDICT_WORDS,
    "languages": LANGUAGES,
}


def page(
    request: Request, name: str, values: dict[str, Any] | None = None, *, status: int = 200
) -> Response:
    """Return a page made of a template."""
    return templates.TemplateResponse(request, name, values or {}, status_code=status)


def fault_page(request: Request, fault: HeavyspotError, status: int) -> Response:
    """Return a fault as a page: what is wrong and what to do."""
    return page(request, "fault.html", {"fault": fault}, status=status)


def goto(place: str, *parts: str) -> Response:
    """Return a redirect after a form, to a place with quoted parts behind it."""
    return RedirectResponse("/".join([place, *(quote(p) for p in parts)]), 303)


def by_script(request: Request) -> bool:
    """Return whether the page's script asks for a part of the page only."""
    return request.headers.get("hx-request") == "true"


def number(text: str) -> Any:
    """Return typed text as the workshop takes it; a decimal comma is a point."""
    return text.strip().replace(",", ".")
