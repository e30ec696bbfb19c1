"""Write the list of every public name, with its signature and what it is, into docs/reference/python.md."""

from __future__ import annotations

import inspect
import sys
from pathlib import Path

import heavyspot

PAGE = Path(__file__).parents[1] / "docs/reference/python.md"
BEGIN, END = "<!-- every name: scripts/python_reference.py -->\n", "<!-- end of every name -->\n"


def written(page: str) -> str:
    """Return the page with the list anew."""
    head, _, rest = page.partition(BEGIN)
    _, _, tail = rest.partition(END)
    return head + BEGIN + listed() + END + tail


def listed() -> str:
    """Return the list: one line a name."""
    lines = ["| name | what |\n", "| --- | --- |\n"]
    for name in heavyspot.__all__:
        if not name.startswith("__"):
            thing = getattr(heavyspot, name)
            words = (inspect.getdoc(thing) or "").partition("\n\n")[0].replace("\n", " ")
            lines.append(f"| `{name}{_signature(thing)}` | {words.replace('|', chr(92) + '|')} |\n")
    return "".join(lines)


def _signature(thing: object) -> str:
    """Return a function's arguments without their types; nothing for a type."""
    if inspect.isclass(thing) or not callable(thing):
        return ""
    shown, star = [], False
    for p in inspect.signature(thing).parameters.values():
        if p.kind is p.KEYWORD_ONLY and not star:
            shown.append("*")
            star = True
        stars = "*" if p.kind is p.VAR_POSITIONAL else "**" if p.kind is p.VAR_KEYWORD else ""
        name = stars + p.name
        star = star or p.kind is p.VAR_POSITIONAL
        given = (
            "…" if callable(p.default) else repr(p.default)
        )  # a function's own text is an address
        shown.append(name if p.default is p.empty else f"{name}={given}")
    return f"({', '.join(shown)})".replace("|", "\\|")


if __name__ == "__main__":
    if "--check" in sys.argv:
        sys.exit(written(PAGE.read_text()) != PAGE.read_text())
    PAGE.write_text(written(PAGE.read_text()))
