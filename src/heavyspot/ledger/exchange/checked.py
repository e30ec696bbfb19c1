"""What arrives from another store is distrusted: each field fits its column, no name leads out of the archive."""

from __future__ import annotations

import json
import math
import re
from typing import Any

from sqlalchemy import (
    JSON,
    Boolean,
    Column,
    Float,
    Integer,
    LargeBinary,
    String,
    Table,
)

from ...quantities.errors import BadInput
from ..store.archive import is_name
from ..store.entries import Row

EXCHANGED = frozenset({
    "models", "rigs", "jobs", "pieces", "amendments", "runs", "cuts", "responses", "cut_errors", "promises",
    "overrulings", "answers", "rotor_runs", "rotor_corrections", "calibrations", "proofs", "matchings",
    "happenings", "old_rows", "sheets", "rereads", "rereadings", "flow_tests", "rig_checks",
})  # fmt: skip
"""Kinds of entry that one store may write into another: the work itself. All others stay where they are."""

LARGEST_NUMBER = 2**31 - 1
LARGEST_JSON, LARGEST_BYTES = 8_000_000, 32_000_000
"""Bytes of one field."""

LISTS = {("answers", "looked"), ("answers", "knowingly"), ("answers", "advice")}
"""JSON that may be a list; all other is an object."""

BELOW_ZERO = {("sheets", "run_number")}
"""Of a flow test, before schema 0011."""

AMENDED = {
    "piece": {"serial": 120, "model": 120, "position": 40},
    "job": {"customer": 200, "invoice": 80, "due": 10, "note": 2000},
}
"""What an amendment may change, and how long it may be."""

_ID = re.compile(r"[0-9a-f]{8}(-[0-9a-f]{4}){3}-[0-9a-f]{12}")
_TIME = re.compile(r"[0-9]{4}-[0-9]{2}-[0-9]{2}T[0-9]{2}:[0-9]{2}:[0-9]{2}(\.[0-9]+)?Z")
_SHEET = re.compile(r"[A-Za-z0-9-]{1,38}\*{0,2}")


def refuse_forged(table: Table, row: Row) -> None:
    """Raise `BadInput` when a field of an entry cannot be what the program itself would have written."""
    if table.name not in EXCHANGED:
        raise BadInput(f'"{table.name}" is not exchanged.', remedy="Use the same version.")
    for name, column in table.c.items():
        if not _fits(table.name, column, row[name]):
            raise BadInput(
                f"{table.name}.{name} of an entry cannot be {str(row[name])[:60]!r}.",
                remedy="It was not written by this program; ask who keeps that store.",
            )
    for why in _faults(table.name, row):
        raise BadInput(
            f"An entry of {table.name}: {why}.",
            remedy="It was not written by this program; ask who keeps that store.",
        )


def _fits(table: str, column: Column[Any], value: Any) -> bool:
    if value is None:
        return bool(column.nullable)
    kind = column.type
    if isinstance(kind, JSON):
        may = (dict, list) if (table, column.name) in LISTS else dict
        return isinstance(value, may) and _is_plain(value)
    if isinstance(kind, LargeBinary):
        return isinstance(value, bytes) and len(value) <= LARGEST_BYTES
    if isinstance(kind, Boolean):
        return isinstance(value, bool)
    if isinstance(kind, Integer):
        least = -LARGEST_NUMBER if (table, column.name) in BELOW_ZERO else 0
        return type(value) is int and least <= value <= LARGEST_NUMBER
    if isinstance(kind, Float):
        return _is_number(value) and math.isfinite(value)
    return isinstance(kind, String) and _is_text(column.name, value, kind.length or 0)


def _is_number(value: Any) -> bool:
    return isinstance(value, (int, float)) and not isinstance(value, bool)


def _is_text(name: str, value: Any, longest: int) -> bool:
    if not isinstance(value, str) or len(value) > longest or not _is_plain(value):
        return False
    if name == "id" or name == "replaces" or name.endswith("_id"):
        return bool(_ID.fullmatch(value))
    return bool(_TIME.fullmatch(value)) if name == "at" else True


def _is_plain(value: Any) -> bool:
    """Whether a database and a page can hold it: no NaN, no NUL, no half of a character, not endless."""
    try:
        spelled = json.dumps(value, allow_nan=False, ensure_ascii=False)
        return len(spelled.encode()) <= LARGEST_JSON and "\\u0000" not in spelled
    except (TypeError, ValueError, RecursionError):
        return False


def _faults(table: str, row: Row) -> list[str]:
    found = []
    content = row.get("content")
    names = [row.get("recording"), row.get("kept_as")]
    names += [content.get("kept_as")] if isinstance(content, dict) and "kept_as" in content else []
    found += [f"{n!r:.60} is no name of a file" for n in names if n and not is_name(n)]
    number, kind = row.get("number"), str(row.get("kind"))
    if table == "sheets" and not _SHEET.fullmatch(str(number)):
        found.append(f"{number!r} is no number of a sheet")
    if table == "amendments" and isinstance(content, dict):
        may = AMENDED.get(kind, {})
        for field, value in content.items():
            if not isinstance(value, str) or len(value) > may.get(field, -1):
                found.append(f"{field!r:.60} of a {kind!r:.20} cannot be amended so")
    return found
