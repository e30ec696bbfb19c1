"""Rows as text for other programs."""

from __future__ import annotations

import csv
import io
import re
from collections.abc import Sequence

from ..ledger.records import Content


def rows_csv(rows: Sequence[Content], columns: Sequence[str]) -> bytes:
    """Return rows as CSV, UTF-8; text that a spreadsheet would take for a formula is disarmed."""
    out = io.StringIO()
    writer = csv.writer(out)
    writer.writerow(columns)
    writer.writerows([[safe_cell(r[c]) for c in columns] for r in rows])
    return out.getvalue().encode()


_FORMULA = re.compile(r"""(^|[;,|\t\r\n])([\s"']*)(?=[=+\-@\t\r\uff1d\uff0b\uff0d\uff20])""")
"""Where a spreadsheet may see a formula begin: at the beginning, and behind what it takes for a separator."""


_DISARMED = re.compile(r"""(^|[;,|\t\r\n])([\s"']*?)'(?=[=+\-@\t\r\uff1d\uff0b\uff0d\uff20])""")


def typed_cell(text: str) -> str:
    """Return a cell as it was before `safe_cell`."""
    return _DISARMED.sub(r"\1\2", text)


def safe_cell(value: object) -> object:
    """Return a cell that no spreadsheet takes for a formula, whichever separator it is set to; None is empty."""
    if isinstance(value, str):
        return _FORMULA.sub(r"\1\2'", value)
    return "" if value is None else value
