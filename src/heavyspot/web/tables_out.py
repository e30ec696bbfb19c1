"""Tables for other programs."""

from __future__ import annotations

import csv
import io
from collections.abc import Sequence

from ..ledger.writing import Row

COLUMNS = (
    "serial",
    "model",
    "position",
    "customer",
    "invoice",
    "number",
    "verdict",
    "worst_ratio",
    "at",
)


def pieces_csv(rows: Sequence[Row]) -> str:
    """Return pieces as CSV; text that a spreadsheet would take for a formula is disarmed."""
    out = io.StringIO()
    writer = csv.writer(out)
    writer.writerow(COLUMNS)
    writer.writerows([[_safe(r[c]) for c in COLUMNS] for r in rows])
    return out.getvalue()


def _safe(value: object) -> object:
    if isinstance(value, str) and value[:1] in ("=", "+", "-", "@", "\t", "\r"):
        return "'" + value
    return "" if value is None else value
