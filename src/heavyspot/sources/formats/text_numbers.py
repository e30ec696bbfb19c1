"""Rows of numbers of a text, in blocks; a row at fault is named by its line."""

from __future__ import annotations

from collections.abc import Generator, Iterator
from contextlib import closing
from dataclasses import dataclass
from itertools import islice
from pathlib import Path

import numpy as np
from numpy.typing import NDArray

from ...quantities.errors import UnreadableFile
from .text_layout import cells_of, is_comment
from .time_base import TimeBase, refuse_gap

_LINES_AT_ONCE = 65_536


@dataclass(frozen=True)
class TextRows:
    """Opens the rows of a text as blocks of samples.

    Attributes
    ----------
    path : Path
    encoding : str
    separator : str or None
        None is any run of blanks.
    decimal_comma : bool
    first_row : int
        Lines before the numbers.
    width : int
        Numbers in a row.
    taken : tuple of int
        Columns that are channels.
    time : TimeBase
    rows : int
        Rows to read; -1 is all to the end.
    only_taken : bool
        Whether other columns may hold text or nothing; `width` is then that of the taken ones.
    """

    path: Path
    encoding: str
    separator: str | None
    decimal_comma: bool
    first_row: int
    width: int
    taken: tuple[int, ...]
    time: TimeBase
    rows: int = -1
    only_taken: bool = False

    def __call__(self, size: int) -> Iterator[NDArray[np.float32]]:
        """Yield blocks; lines are the natural unit here, so `size` is not kept."""
        del size
        with closing(self._tables()) as tables:
            yield from self._followed(tables)

    def _followed(self, tables: Iterator[NDArray[np.float64]]) -> Iterator[NDArray[np.float32]]:
        expected: float | None = None
        for data in tables:
            if self.time.index is not None:
                time_s = data[:, self.time.index] * self.time.factor
                begin = float(time_s[0]) if expected is None else expected
                refuse_gap(time_s, begin, self.time.rate_hz, self.path.name)
                expected = float(time_s[-1]) + 1 / self.time.rate_hz
            yield (data if self.only_taken else data[:, self.taken]).astype(np.float32)

    def _tables(self) -> Generator[NDArray[np.float64]]:
        with self.path.open(encoding=self.encoding, errors="replace") as file:
            for _ in range(self.first_row):
                file.readline()
            line_no = self.first_row
            wanted = file if self.rows < 0 else islice(file, self.rows)
            while lines := list(islice(wanted, _LINES_AT_ONCE)):
                data = self.numbers(lines, line_no)
                line_no += len(lines)
                if data.size:
                    yield data

    def numbers(self, lines: list[str], line_no: int) -> NDArray[np.float64]:
        """Return the numbers of lines, shape (n, width); raises `UnreadableFile` naming a line at fault."""
        kept = [line for line in lines if not is_comment(line)]
        if not kept:
            return np.empty((0, self.width))
        if self.decimal_comma:
            kept = [line.replace(",", ".") for line in kept]
        kept = [line.rstrip("\r\n \t") for line in kept]
        if self.separator not in (None, "\t"):
            kept = [line.removesuffix(self.separator or "") for line in kept]
        try:
            table = np.loadtxt(
                kept,
                np.float64,
                delimiter=self.separator,
                ndmin=2,
                quotechar='"',
                comments=None,
                usecols=self.taken if self.only_taken else None,
            )
        except ValueError:
            table = np.empty((0, 0))
        if table.shape[1] != self.width:
            raise self._at_fault(lines, line_no)
        return table

    def _at_fault(self, lines: list[str], line_no: int) -> UnreadableFile:
        for i, line in enumerate(lines):
            if is_comment(line):
                continue
            if self.decimal_comma:
                line = line.replace(",", ".")
            cells = cells_of(line, self.separator)
            where = f"{self.path.name}, line {line_no + i + 1}"
            if self.only_taken:
                cells = [cells[i] for i in self.taken if i < len(cells)]
            if len(cells) != self.width:
                return UnreadableFile(
                    f"{where}: {len(cells)} columns, {self.width} expected.",
                    remedy="Mend that line; a file cut short ends like this.",
                )
            for cell in cells:
                try:
                    float(cell)
                except ValueError:
                    return UnreadableFile(
                        f"{where}: {cell[:30]!r} is not a number.",
                        remedy="Mend that line; Heavyspot does not fill gaps.",
                    )
        return UnreadableFile(
            f"{self.path.name} cannot be read as numbers.", remedy="Export it again."
        )
