"""Text in columns, of any make: comma, semicolon, tab, bar or blanks; UTF-8, UTF-16 or Western.

Names (with units in brackets, after a slash, or in a row of their own) stand above the numbers,
below as much of a preamble as the program likes, also behind ``#`` or ``%``. The time is the column
that its name or unit says; without one the rate must be stated. Our own files carry the sidecar's
content in a first line that begins with ``# heavyspot ``.
"""

from __future__ import annotations

import json
import re
from pathlib import Path

import numpy as np
from numpy.typing import NDArray

from ...quantities.errors import UnreadableFile
from ..readers import described, guessed_channel
from ..recording import Recording
from ..sidecar import Sidecar, parse_sidecar
from .text_layout import TextLayout, is_utf_16, text_layout, written_rate
from .text_numbers import TextRows
from .time_base import TimeBase, time_base

_OURS = "# heavyspot "
_OTHERS = re.compile(rb"LabVIEW Measurement|\s*-1\s*\n\s*\d+b?\s")
"""How texts of another format begin."""


class CsvReader:
    """Reads columns of numbers."""

    name = "csv"
    suffixes = (".csv", ".tsv", ".txt", ".asc", ".prn", ".dat")

    def recognise(self, head: bytes, name: str) -> bool:
        """Known by its suffix, and by being text."""
        if not name.lower().endswith(self.suffixes) or _OTHERS.match(head):
            return False
        return b"\0" not in head or is_utf_16(head)

    def read(self, path: Path, sidecar: Sidecar | None) -> Recording:
        """Return the recording; its length is known only at its end."""
        layout = text_layout(path)
        own = _own(layout, path.name)
        said = own or sidecar  # what stands in the file is of this file
        rows = _rows(path, layout, TimeBase(1.0))
        start = rows.numbers(list(layout.start), layout.first_row)
        written = None if said and said.sample_rate_hz else written_rate(layout, path.name)
        base = time_base(layout.columns, start, said, written, path.name)
        rows = _rows(path, layout, base, _clocks(layout, start, base, path.name))
        recording = Recording(
            channels=tuple(
                guessed_channel(layout.columns[i].name, layout.columns[i].unit) for i in rows.taken
            ),
            sample_rate_hz=base.rate_hz,
            n_samples=-1,
            opener=rows,
            notes=base.notes,
            path=path,
        )
        return described(recording, said, rate_may_differ=True, units_said=own is None)


def _clocks(
    layout: TextLayout, start: NDArray[np.float64], base: TimeBase, name: str
) -> frozenset[int]:
    """Return the columns that hold the time; a program may repeat it before each channel."""
    if base.index is None:
        return frozenset()
    times = [i for i, c in enumerate(layout.columns) if c.is_time and i != base.index]
    for i in times:
        factor = layout.columns[i].seconds or base.factor
        apart = np.abs(start[:, i] * factor - start[:, base.index] * base.factor).max()
        if not apart < 0.5 / base.rate_hz:
            raise UnreadableFile(
                f'{name}: "{layout.columns[i].name}" and "{layout.columns[base.index].name}" '
                "are two times that differ.",
                remedy="Export all channels at the same moments.",
            )
    return frozenset((base.index, *times))


def _rows(
    path: Path, layout: TextLayout, base: TimeBase, clocks: frozenset[int] = frozenset()
) -> TextRows:
    width = len(layout.columns)
    return TextRows(
        path=path,
        encoding=layout.encoding,
        separator=layout.separator,
        decimal_comma=layout.decimal_comma,
        first_row=layout.first_row,
        width=width,
        taken=tuple(i for i in range(width) if i not in clocks),
        time=base,
    )


def _own(layout: TextLayout, name: str) -> Sidecar | None:
    """Return what our own writer put into the first line."""
    for number, line in enumerate(layout.preamble, start=1):
        if line.startswith(_OURS):
            try:
                return parse_sidecar(json.loads(line[len(_OURS) :]), name=name)
            except json.JSONDecodeError:
                raise UnreadableFile(
                    f"{name}: line {number} is damaged.", remedy="Export the recording again."
                ) from None
    return None
