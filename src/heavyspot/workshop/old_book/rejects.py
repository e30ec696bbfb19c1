"""The rows of an old book that were not taken, in a file of their own, to be corrected and brought in again."""

from __future__ import annotations

import csv
from collections.abc import Iterator
from contextlib import contextmanager
from dataclasses import dataclass
from pathlib import Path
from typing import TYPE_CHECKING

from ...quantities.durable import aside, put, remove, sync_file
from ..rows_text import safe_cell

if TYPE_CHECKING:
    from _csv import Writer

OURS = ("line", "reason")
"""Columns before the table's own."""


@dataclass(frozen=True)
class Refused:
    """A row that cannot be taken, and why."""

    line: int
    cells: tuple[str, ...]
    reason: str


class Rejects:
    """The file while it is written.

    Attributes
    ----------
    count : int
        Rows in it.
    """

    def __init__(self, writer: Writer) -> None:
        self._writer, self.count = writer, 0

    def add(self, row: Refused) -> None:
        """Add a row; no cell of it begins a formula."""
        self.count += 1
        self._writer.writerow([safe_cell(c) for c in (row.line, row.reason, *row.cells)])


@contextmanager
def rejecting(path: Path, headers: tuple[str, ...]) -> Iterator[Rejects]:
    """Write refused rows to a file, whole or not at all visible; none is left where there are none."""
    part = aside(path)
    with part.open("w", encoding="utf-8-sig", newline="") as file:
        writer = csv.writer(file)
        writer.writerow([*OURS, *map(safe_cell, headers)])
        rejects = Rejects(writer)
        yield rejects
    if rejects.count:
        sync_file(part)
        put(part, path)
    else:
        remove(part)
