"""Tables of other people's making, as rows of cells: CSV of any make, and workbooks (XLSX, ODS, XLS).

What a row or a column means is for the reader of these rows; here only text, numbers and dates are told apart.
"""

from __future__ import annotations

import codecs
import csv
import io
import zipfile
from collections.abc import Iterator
from dataclasses import dataclass
from datetime import date, datetime
from pathlib import Path

from ..quantities.errors import UnreadableFile

Cell = str | float | date | None

LARGEST_UNPACKED = 800_000_000
LARGEST_STRINGS = 200_000_000
"""Bytes of a workbook once unpacked, and of its shared texts: a small file may unpack to gigabytes."""

SEPARATORS = (";", "\t", ",", "|")


@dataclass(frozen=True)
class LooseTable:
    """One table of a file.

    Attributes
    ----------
    name : str
        Of the file.
    sheets : tuple of str
        Names of all sheets of a workbook; empty for text.
    path : Path
    sheet : str
        The one read.
    """

    name: str
    sheets: tuple[str, ...]
    path: Path
    sheet: str = ""

    def rows(self) -> Iterator[tuple[int, list[Cell]]]:
        """Yield line number, from 1, and cells; each call reads from the start."""
        return _workbook_rows(self) if self.sheets else _text_rows(self.path)


def open_table(path: Path, *, sheet: str = "", name: str = "") -> LooseTable:
    """Return a table ready to be read.

    Parameters
    ----------
    sheet : str
        Of a workbook; its first when empty.
    name : str
        Shown in faults; the file's own when empty.

    Raises
    ------
    UnreadableFile
        No such file or sheet, neither text nor a workbook, or one that unpacks to more than can be read.
    """
    name = name or path.name
    try:
        with path.open("rb") as file:
            head = file.read(8)
    except OSError as fault:
        raise UnreadableFile(
            f"{name} cannot be opened ({fault.strerror}).", remedy="Check the path."
        ) from None
    if head[:4] in (b"PK\x03\x04", b"\xd0\xcf\x11\xe0"):
        sheets = _sheets(path, name)
        if sheet and sheet not in sheets:
            raise UnreadableFile(
                f'{name} has no sheet "{sheet}".', remedy=f"It has: {', '.join(sheets)}."
            )
        return LooseTable(name, sheets, path, sheet or sheets[0])
    if b"\0" in head and not head.startswith((codecs.BOM_UTF16_LE, codecs.BOM_UTF16_BE)):
        raise UnreadableFile(f"{name} is neither text nor XLSX.", remedy="Save it as XLSX or CSV.")
    return LooseTable(name, (), path)


def _sheets(path: Path, name: str) -> tuple[str, ...]:
    from python_calamine import CalamineError, CalamineWorkbook

    try:
        if zipfile.is_zipfile(path):
            _refuse_bomb(path, name)
        names = tuple(CalamineWorkbook.from_path(path).sheet_names)
    except (CalamineError, zipfile.BadZipFile, OSError) as fault:
        raise _damaged(name, fault) from None
    if not names:
        raise UnreadableFile(f"{name} has no sheet.", remedy="Save it anew.")
    return names


def _refuse_bomb(path: Path, name: str) -> None:
    with zipfile.ZipFile(path) as archive:
        sizes = {i.filename: i.file_size for i in archive.infolist()}
    strings = sum(n for f, n in sizes.items() if "sharedStrings" in f)
    if sum(sizes.values()) > LARGEST_UNPACKED or strings > LARGEST_STRINGS:
        raise UnreadableFile(
            f"{name} unpacks to {sum(sizes.values()) / 1e6:,.0f} MB.",
            remedy="Split it, or save it as CSV.",
        )


def _damaged(name: str, fault: Exception) -> UnreadableFile:
    return UnreadableFile(
        f"{name} is no readable workbook ({fault}).",
        remedy="Open it in a spreadsheet and save it anew, as XLSX or CSV.",
    )


def _workbook_rows(table: LooseTable) -> Iterator[tuple[int, list[Cell]]]:
    from python_calamine import CalamineError, CalamineWorkbook

    try:
        sheet = CalamineWorkbook.from_path(table.path).get_sheet_by_name(table.sheet)
        for line, cells in enumerate(sheet.iter_rows(), start=1):
            yield line, [_cell(v) for v in cells]
    except CalamineError as fault:
        raise _damaged(f'{table.name}, sheet "{table.sheet}",', fault) from None


def _cell(value: object) -> Cell:
    if isinstance(value, float):
        return value
    if isinstance(value, bool):
        return "yes" if value else "no"
    if isinstance(value, int):
        return float(value)
    if isinstance(value, datetime):
        return value.date()
    if isinstance(value, date):
        return value
    return str(value).strip() or None


def _text_rows(path: Path) -> Iterator[tuple[int, list[Cell]]]:
    encoding = _encoding(path)
    with path.open(encoding=encoding, errors="replace", newline="") as file:
        start = file.read(200_000)
        file.seek(0)
        csv.field_size_limit(1_000_000)
        reader = csv.reader(file, delimiter=_separator(start))
        try:
            for cells in reader:
                yield reader.line_num, [c.strip() or None for c in cells]
        except csv.Error as fault:
            raise UnreadableFile(
                f"{path.name}, line {reader.line_num}: {fault}.",
                remedy="Look at that line in an editor.",
            ) from None


def _encoding(path: Path) -> str:
    """Return UTF-8 or UTF-16 where the file is that, else the Western code page of old spreadsheets."""
    with path.open("rb") as file:
        if file.read(2) in (codecs.BOM_UTF16_LE, codecs.BOM_UTF16_BE):
            return "utf-16"
        file.seek(0)
        decoder = codecs.getincrementaldecoder("utf-8")()
        try:
            while block := file.read(1 << 20):
                decoder.decode(block)
            decoder.decode(b"", final=True)
        except UnicodeDecodeError:
            return "cp1252"
    return "utf-8-sig"


def _separator(start: str) -> str:
    """Return the separator that splits most lines into the same number of cells, more than one."""

    def agreement(separator: str) -> tuple[int, int]:
        try:
            rows = list(csv.reader(io.StringIO(start, newline=""), delimiter=separator))[:60]
        except csv.Error:  # said with its line when the rows are read
            return 0, 0
        widths = [len(r) for r in rows if len(r) > 1]
        if not widths:
            return 0, 0
        commonest = max(set(widths), key=widths.count)
        return widths.count(commonest), commonest

    return max(SEPARATORS, key=agreement)


def text_of(path: Path) -> str:
    """Return a text file's text, in the encoding its rows are read in."""
    return path.read_bytes().decode(_encoding(path), errors="replace")
