"""Rows as text for other programs."""

from __future__ import annotations

import csv
import io
from collections.abc import Sequence

from ..ledger.records import Content


def rows_csv(rows: Sequence[Content], columns: Sequence[str]) -> bytes:
    """Return rows as CSV, UTF-8; text that a spreadsheet would take for a formula is disarmed."""
    out = io.StringIO()
    writer = csv.writer(out)
    writer.writerow(columns)
    writer.writerows([[_safe(r[c]) for c in columns] for r in rows])
    return out.getvalue().encode()


def _safe(value: object) -> object:
    if isinstance(value, str) and value[:1] in ("=", "+", "-", "@", "\t", "\r"):
        return "'" + value
    return "" if value is None else value
