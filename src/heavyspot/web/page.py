"""What every page shares: the templates, who is asking, typed numbers."""

from __future__ import annotations

import json
from collections.abc import Mapping
from pathlib import Path
from typing import Annotated
from urllib.parse import quote

from fastapi import Form, Request, Response
from fastapi.responses import RedirectResponse
from fastapi.templating import Jinja2Templates
from markupsafe import Markup

from .._version import __version__
from ..balance.uncertainty import COVERAGE_K
from ..quantities.errors import HeavyspotError
from ..quantities.said import LANGUAGES, Said, Value
from .access import person_of
from .formats import FILTERS, dotted, listed
from .once import new_form_key
from .speaking import language, refused, spoken
from .views.bench.words import marked, plain

Text = Annotated[str, Form()]

HTMX_CONFIG = {
    "includeIndicatorStyles": False,  # the pages' policy forbids styles and scripts of its making
    "allowEval": False,
    "allowScriptTags": False,
    "historyCacheSize": 0,
    "responseHandling": [{"code": "204", "swap": False}, {"code": "[2-5]..", "swap": True}],
}

INSIGHT_TABS = (
    ("/insight", Said("insight_tab.how")),
    ("/gains", Said("insight.gains_tab")),
    ("/insight/suppliers", Said("insight.suppliers")),
    ("/insight/limits", Said("insight.limits_tab")),
    ("/insight/claims", Said("insight.claims")),
    ("/insight/ask", Said("insight_tab.ask")),
)


def _context(request: Request) -> dict[str, object]:
    person = person_of(request)
    key = Markup('<input type="hidden" name="once" value="{}">').format(new_form_key())
    hidden = Markup('<input type="hidden" name="csrf" value="{}">').format(person.csrf)
    return {
        "who": person,
        "csrf": hidden + key
        if person.csrf
        else key,  # in every form: whose it is, and that it is done once
        "practice": request.app.state.practice,
        "keys": request.app.state.keys,
        "speaks": language(),
    }


def _t(code: str, **values: Value) -> str:
    """Return a sentence of the catalogue, for words that stand in a template."""
    return plain(Said(code, values), language())


def _marked(said: Said) -> Markup:
    return marked(said, language())


def _words(said: Said) -> str:
    return plain(said, language())


def _t_marked(code: str, **values: Value) -> Markup:
    """Return a sentence of the catalogue with its stress."""
    return marked(Said(code, values), language())


templates = Jinja2Templates(Path(__file__).parent / "templates", context_processors=[_context])
templates.env.filters |= FILTERS | {
    "marked": _marked,
    "words": _words,
    "spoken": spoken,
    "refused": refused,
}
templates.env.globals |= {
    "version": __version__,
    "languages": LANGUAGES,
    "dotted": dotted,
    "t": _t,
    "t_marked": _t_marked,
    "insight_tabs": INSIGHT_TABS,
    "listed": listed,
    "htmx_config": json.dumps(HTMX_CONFIG),
    "coverage_k": f"{COVERAGE_K:g}",
}


def page(
    request: Request, name: str, values: Mapping[str, object] | None = None, *, status: int = 200
) -> Response:
    """Return a page made of a template."""
    return templates.TemplateResponse(request, name, dict(values or {}), status_code=status)


def fault_page(request: Request, fault: HeavyspotError, status: int) -> Response:
    """Return a fault as a page: what is wrong and what to do."""
    return page(request, "fault.html", {"fault": fault}, status=status)


def goto(place: str, *parts: str) -> Response:
    """Return a redirect after a form, to a place with quoted parts behind it."""
    return RedirectResponse("/".join([place, *(quote(p) for p in parts)]), 303)


def by_script(request: Request) -> bool:
    """Return whether the page's script asks for a part of the page only."""
    return request.headers.get("hx-request") == "true"
