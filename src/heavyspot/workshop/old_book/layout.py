"""Which column of an old book holds what: guessed from its headers, corrected by a person, remembered."""

from __future__ import annotations

import hashlib
import re
from collections.abc import Iterable, Sequence
from pathlib import Path
from typing import Any, Literal

import tomli_w
from pydantic import BaseModel, ConfigDict, ValidationError

from ...ledger.find.search import plain
from ...quantities.durable import write_text
from ...quantities.errors import BadInput
from ...sources.loose_table import Cell
from ...sources.sidecar import first_fault
from ...sources.toml_text import read_toml
from .cells import WORDS, as_text

FIELDS: dict[str, list[str]] = WORDS["columns"]
"""What a row can tell, and how people head its column."""

NEEDED = ("serial",)

LOOK_FOR_HEADER = 30


class Layout(BaseModel):
    """How a table is read.

    Attributes
    ----------
    columns : dict
        Field to header.
    dates : str
        Order of day, month and year; empty where it does not matter.
    peak_unit : str
        Of the vibration columns; g when empty.
    customers : dict
        Spelling in the table to the name it is taken as.
    models : dict
        The same for models.
    """

    model_config = ConfigDict(extra="forbid")
    columns: dict[str, str]
    dates: Literal["", "dmy", "mdy", "ymd"] = ""
    peak_unit: str = ""
    customers: dict[str, str] = {}
    models: dict[str, str] = {}

    def checked(self, headers: Sequence[str]) -> Layout:
        """Return itself; raises `BadInput` when it does not fit a table."""
        for field, header in self.columns.items():
            if field not in FIELDS:
                raise BadInput(
                    f'There is no field "{field}".', remedy="Fields: " + ", ".join(FIELDS) + "."
                )
            if header not in headers:
                raise BadInput(
                    f'There is no column "{header}".',
                    remedy="Columns: " + ", ".join(h for h in headers if h) + ".",
                )
        used = list(self.columns.values())
        twice = next((h for h in used if used.count(h) > 1), None)
        if twice is not None:
            raise BadInput(f'Column "{twice}" stands for two fields.', remedy="Keep one of them.")
        missing = [f for f in NEEDED if f not in self.columns]
        if missing:
            raise BadInput(
                f"No column is the {missing[0]}.", remedy="Say which one is: serial=HEADER."
            )
        return self


def find_header(rows: Iterable[tuple[int, list[Cell]]]) -> tuple[int, tuple[str, ...]]:
    """Return line and cells of the header: among the first lines the one with most known words.

    Raises
    ------
    BadInput
        The table is empty, or no line looks like a header.
    """
    best: tuple[int, int, tuple[str, ...]] = (0, 0, ())
    for n, (line, cells) in enumerate(rows):
        if n >= LOOK_FOR_HEADER:
            break
        known = len(_guess([as_text(c) for c in cells]))
        words = sum(isinstance(c, str) for c in cells)
        if words >= 2 and known > best[0]:
            best = (known, line, tuple(as_text(c) for c in cells))
    if not best[2]:
        raise BadInput(
            "No line looks like a header.",
            remedy="Put one line above the rows that says what each column is: Serial, Date, Customer.",
        )
    return best[1], _distinct(best[2])


def _distinct(headers: Sequence[str]) -> tuple[str, ...]:
    """Return headers without doubles: the second of a name gets a number."""
    seen: dict[str, int] = {}
    out = []
    for header in headers:
        seen[header] = seen.get(header, 0) + 1
        out.append(f"{header} {seen[header]}" if header and seen[header] > 1 else header)
    return tuple(out)


def guess_layout(headers: Sequence[str]) -> Layout:
    """Return the layout that headers suggest."""
    columns = _guess(headers)
    unit = next(
        (m[1] for f in ("last_g", "first_g") if (m := _UNIT.search(columns.get(f, "")))), ""
    )
    return Layout(columns=columns, peak_unit=unit if unit != "g" else "")


_UNIT = re.compile(r"[\[(,]\s*(g|m/s²|m/s2|m/s\^2|mm/s)\s*[\])]?$")


def _guess(headers: Sequence[str]) -> dict[str, str]:
    """Return field to header: whole names first, then names whose words hold a known word."""
    bare = {h: re.sub(r"[\[(].*?[\])]|[-.:#°_*]", " ", plain(h)).strip() for h in headers if h}
    bare = {h: " ".join(b.split()) or plain(h) for h, b in bare.items()}
    found: dict[str, str] = {}
    for whole in (True, False):
        for field, names in FIELDS.items():
            for header, words in bare.items():
                if field in found or header in found.values():
                    continue
                if words in names if whole else any(f" {n} " in f" {words} " for n in names):
                    found[field] = header
    return found


def signature(headers: Sequence[str]) -> str:
    """Return what tables of one layout have in common."""
    return hashlib.sha256("\n".join(plain(h) for h in headers).encode()).hexdigest()[:16]


def recall(folder: Path, headers: Sequence[str]) -> Layout | None:
    """Return the layout remembered for such a table, or None."""
    path = folder / "layouts" / f"{signature(headers)}.toml"
    return load_layout(path) if path.exists() else None


def remember(folder: Path, headers: Sequence[str], layout: Layout) -> None:
    """Keep a layout for the next table like this."""
    path = folder / "layouts" / f"{signature(headers)}.toml"
    path.parent.mkdir(exist_ok=True)
    write_text(path, tomli_w.dumps(layout.model_dump(exclude_defaults=True)))


def load_layout(path: Path) -> Layout:
    """Return a layout from its file; raises `UnreadableFile` or `BadInput`."""
    return layout_of(read_toml(path), name=path.name)


def layout_of(content: dict[str, Any], *, name: str = "The layout") -> Layout:
    """Return a layout from its keys; raises `BadInput` when one is unknown or out of range."""
    try:
        return Layout.model_validate(content)
    except ValidationError as fault:
        raise BadInput(
            f"{name}: {first_fault(fault)}", remedy="docs/reference/old-book.md lists the keys."
        ) from None
