"""How a text of numbers is laid out: encoding, preamble, names, units, separator, decimal sign."""

from __future__ import annotations

import codecs
import re
from dataclasses import dataclass
from itertools import islice
from pathlib import Path

from ...quantities.errors import UnreadableFile
from .columns import Column, are_units, column_of

LINES_LOOKED_AT = 3000
"""A preamble longer than this is not taken for one."""

SEPARATORS: tuple[str | None, ...] = (";", "\t", "|", ",", None)
"""What may stand between columns; None is any run of blanks."""

COMMENTS = ("#", "%", "//")

_WORDS = re.compile(r'"[^"]*"|[^\s\[(]+(?:\s*[\[(][^\])]*[\])])?|[\[(][^\])]*[\])]')
_RATE = re.compile(
    r"(?P<key>sampl\w*[ _-]*(?:rate|freq\w*)|abtast(?:rate|frequenz)|\bfs\b|\brate)"
    r"(?P<between>[^0-9]{0,24}?)(?P<number>[0-9]+(?:[.,][0-9]+)?(?:[eE][+-]?[0-9]+)?)\s*(?P<after>[A-Za-z/]*)",
    re.IGNORECASE,
)
_RATE_UNITS = {"hz": 1.0, "khz": 1e3, "s/s": 1.0, "ks/s": 1e3, "sps": 1.0, "1/s": 1.0}


@dataclass(frozen=True)
class TextLayout:
    """Where the numbers of a text stand and what its columns are.

    Attributes
    ----------
    encoding : str
    separator : str or None
        None is any run of blanks.
    decimal_comma : bool
    first_row : int
        Lines before the first row of numbers.
    columns : tuple of Column
    preamble : tuple of str
        Those lines.
    start : tuple of str
        The first rows, remarks among them.
    """

    encoding: str
    separator: str | None
    decimal_comma: bool
    first_row: int
    columns: tuple[Column, ...]
    preamble: tuple[str, ...]
    start: tuple[str, ...]


def text_layout(path: Path) -> TextLayout:
    """Return the layout of a text file; raises `UnreadableFile` when it is no table of numbers."""
    encoding = encoding_of(path)
    with path.open(encoding=encoding, errors="replace") as file:
        lines = list(islice(file, LINES_LOOKED_AT))
    found = [f for s in SEPARATORS if (f := _tried(lines, s)) is not None]
    if not found:
        raise UnreadableFile(
            f"{path.name} holds no rows of two or more numbers in its first {len(lines)} lines.",
            remedy="Export columns of numbers, with names and units in the lines above them.",
        )
    named = [f for f in found if f.names] or found
    best = min(named, key=lambda f: (f.first, SEPARATORS.index(f.separator)))
    _refuse_two_ways(best, named, path.name)
    return _laid_out(lines, best, encoding)


@dataclass(frozen=True)
class _Tried:
    """What one separator makes of the lines."""

    separator: str | None
    first: int
    width: int
    names: list[str]
    units: list[str]


def _refuse_two_ways(best: _Tried, others: list[_Tried], name: str) -> None:
    """Raise where another separator gives another number of columns that fits the names as well."""
    for other in others:
        as_good = other.first == best.first and bool(other.names) == bool(best.names)
        if as_good and other.width != best.width:
            raise UnreadableFile(
                f"{name} could be split into {best.width} or {other.width} columns.",
                remedy="Put a line with the name of each column above the numbers, or use semicolons.",
            )


def encoding_of(path: Path) -> str:
    """Return UTF-8, UTF-16 or the Western code page, from the file's first million bytes."""
    with path.open("rb") as file:
        head = file.read(1 << 20)
    if head.startswith((codecs.BOM_UTF16_LE, codecs.BOM_UTF16_BE)):
        return "utf-16"
    if is_utf_16(head):
        return "utf-16-le" if head[1] == 0 else "utf-16-be"
    try:
        codecs.getincrementaldecoder("utf-8")().decode(head)
    except UnicodeDecodeError:
        return "cp1252"
    return "utf-8-sig"


def is_utf_16(head: bytes) -> bool:
    """Return whether bytes are 16-bit text: a mark says it, or every second byte of ASCII is 0."""
    if head.startswith((codecs.BOM_UTF16_LE, codecs.BOM_UTF16_BE)):
        return True
    head = head[:64]
    even, odd = head[::2], head[1::2]
    return len(head) >= 16 and (
        (not any(odd) and 0 not in even) or (not any(even) and 0 not in odd)
    )


def written_rate(layout: TextLayout, name: str) -> float | None:
    """Return the rate that stands in the preamble with its unit, Hz; None where none does.

    Raises
    ------
    UnreadableFile
        Two different ones stand there.
    """
    found: set[float] = set()
    for line in layout.preamble:
        for m in _RATE.finditer(line):
            around = f"{m['between']} {m['after']}".lower()
            known = [f for u, f in _RATE_UNITS.items() if _stands_in(u, around)]
            if known:
                found.add(float(m["number"].replace(",", ".")) * known[0])
    if len(found) > 1:
        raise UnreadableFile(
            f"{name} states several sample rates: {', '.join(f'{r:g}' for r in sorted(found))} Hz.",
            remedy="State the true one with --rate, or in a sidecar.",
        )
    return found.pop() if found else None


def _stands_in(unit: str, text: str) -> bool:
    return re.search(rf"(?<![a-z/]){re.escape(unit)}(?![a-z/])", text) is not None


def cells_of(line: str, separator: str | None) -> list[str]:
    """Return the cells of a line; an empty one after the last separator is none."""
    line = line.strip("\r\n")
    if separator is None:
        return line.split()
    cells = line.split(separator)
    if len(cells) > 1 and not cells[-1].strip():
        cells.pop()
    return [c.strip().strip('"').strip() for c in cells]


def is_comment(line: str) -> bool:
    """Return whether a line is a remark, or empty."""
    text = line.strip()
    return not text or text.startswith(COMMENTS)


def _is_number(cell: str, decimal_comma: bool) -> bool:
    try:
        float(cell.replace(",", ".") if decimal_comma else cell)
    except ValueError:
        return False
    return True


def _width(line: str, separator: str | None) -> int:
    """Return how many numbers a line holds; 0 where a cell is none."""
    if is_comment(line):
        return 0
    cells = cells_of(line, separator)
    return len(cells) if cells and all(_is_number(c, separator != ",") for c in cells) else 0


def _tried(lines: list[str], separator: str | None) -> _Tried | None:
    """Return where rows of as many numbers begin (three, or the two there are), and the names above."""
    rows = [(i, _width(line, separator)) for i, line in enumerate(lines) if not is_comment(line)]
    for at, (first, width) in enumerate(rows):
        after = [w for _, w in rows[at : at + 3]]
        if width and len(after) > 1 and set(after) == {width}:
            if width == 1:
                return None  # it separates nothing
            return _Tried(separator, first, width, *_heads(lines[:first], separator, width))
    return None


def _heads(above: list[str], separator: str | None, width: int) -> tuple[list[str], list[str]]:
    """Return the names and units above the numbers; empty where none fit their number."""
    split = [_head_cells(line, separator) for line in reversed(above) if line.strip()]
    rows = [cells for cells in split if len(cells) == width]
    if not rows:
        return [], []
    if are_units(rows[0]) and len(rows) > 1:
        return rows[1], rows[0]
    return rows[0], []


def _head_cells(line: str, separator: str | None) -> list[str]:
    text = line.strip("\r\n")
    for mark in COMMENTS:
        if text.lstrip().startswith(mark):
            text = text.lstrip().lstrip(mark[0]).strip(" ")
    if separator is None:
        return _WORDS.findall(text)
    return cells_of(text, separator)


def _laid_out(lines: list[str], found: _Tried, encoding: str) -> TextLayout:
    start = lines[found.first :]
    columns = [column_of(c) for c in found.names] or [
        Column(f"column {i + 1}") for i in range(found.width)
    ]
    if found.units:
        columns = [
            c if c.unit else Column(c.name, u.strip("\"'[]() "))
            for c, u in zip(columns, found.units, strict=True)
        ]
    return TextLayout(
        encoding=encoding,
        separator=found.separator,
        decimal_comma=found.separator != ","
        and any("," in line for line in start if not is_comment(line)),
        first_row=found.first,
        columns=tuple(columns),
        preamble=tuple(lines[: found.first]),
        start=tuple(start),
    )
