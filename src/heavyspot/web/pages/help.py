"""Help: the guides as they stand in the documentation, beside the page they are about."""

from __future__ import annotations

import re
from functools import cache
from pathlib import Path

from fastapi import APIRouter, Depends, Request, Response
from markdown_it import MarkdownIt
from markupsafe import Markup

from ...quantities.errors import NotThere
from ...quantities.said import LANGUAGES, Said
from ..access import allowed
from ..page import Text, by_script, goto, page
from ..speaking import CHOICE

router = APIRouter(include_in_schema=False, dependencies=[Depends(allowed)])

PACKED = Path(__file__).parents[1] / "guides"
CHECKOUT = Path(__file__).parents[4] / "docs" / "guides"
"""Where the guides lie: in the package that is installed, or beside the program's own sources."""

ABOUT = (
    ("/bench", "the-bench-screen"), ("/wall", "the-bench-screen"), ("/recordings", "bring-a-recording"),
    ("/curves", "bring-a-table"), ("/rig-angles", "bring-a-table"),
    ("/models", "describe-a-model"), ("/rotor", "rotors-at-low-speed"), ("/matching", "rotors-at-low-speed"),
    ("/flow", "flow-tests"), ("/insight", "insight"), ("/gains", "insight"), ("/rig", "rig-health"),
    ("/at", "several-rigs"), ("/reread", "read-anew"), ("/old-book", "the-old-book"), ("/ledger", "keep-it"),
    ("/buildings", "a-second-building"), ("/verify", "prove-a-sheet"), ("/users", "accounts"),
    ("/story", "a-pieces-story"), ("/look", "a-pieces-story"), ("/jobs", "balance-a-cartridge"),
)  # fmt: skip
"""Which guide a page's address leads to; the first that fits."""

FIRST = "balance-a-cartridge"


def guide_of(path: str) -> str:
    """Return the name of the guide for a page.

    >>> guide_of("/bench/L52-1"), guide_of("/")
    ('the-bench-screen', 'balance-a-cartridge')
    """
    return next((name for place, name in ABOUT if path.startswith(place)), FIRST)


def guides() -> Path:
    """Return the folder of the guides."""
    return PACKED if PACKED.is_dir() else CHECKOUT


@cache
def titles() -> dict[str, str]:
    """Return each guide's title by its name, in order of the titles."""
    found = {
        p.stem: p.read_text(encoding="utf-8").partition("\n")[0].lstrip("# ")
        for p in guides().glob("*.md")
    }
    return dict(sorted(found.items(), key=lambda item: item[1]))


@cache
def guide_html(name: str) -> Markup:
    """Return a guide as HTML; raises `NotThere` for a name that is none of a guide's.

    Nothing of it is taken as HTML, and a link leads to another guide or, as plain words, nowhere.
    """
    if name not in titles():
        raise NotThere(
            Said("refusal.there_is_no_guide", {"name": repr(name[:60])}),
            remedy=Said("remedy.choose_one_from_the_list"),
        )
    text = (guides() / f"{name}.md").read_text(encoding="utf-8")
    text = re.sub(r"!\[[^\]]*\]\([^)]*\)\n?", "", text)  # pictures stay in the documentation
    text = re.sub(r"\[([^\]]+)\]\(([\w-]+)\.md[^)]*\)", _led, text)
    text = re.sub(r"\[([^\]]+)\]\((?!/help/)[^)]*\)", r"\1", text)
    made = MarkdownIt("commonmark", {"html": False}).enable("table").render(text)
    return Markup(made)  # escaped by the renderer


def _led(found: re.Match[str]) -> str:
    words, name = found.groups()
    return f"[{words}](/help/{name})" if name in titles() else words


@router.get("/help")
def help_for(request: Request, of: str = "/") -> Response:
    """The guide for a page."""
    return _shown(request, guide_of(of))


@router.get("/help/{name}")
def guide(request: Request, name: str) -> Response:
    """One guide."""
    return _shown(request, name)


@router.post("/language")
def choose_language(language: Text = "") -> Response:
    """Choose the language of this browser's pages."""
    answer = goto("/help")
    if language in LANGUAGES:
        answer.set_cookie(CHOICE, language, max_age=400 * 86_400, httponly=True, samesite="lax")
    return answer


def _shown(request: Request, name: str) -> Response:
    values = {"name": name, "guide": guide_html(name), "titles": titles()}
    return page(request, "help/drawer.html" if by_script(request) else "help/help.html", values)
