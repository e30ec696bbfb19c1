"""A table of amplitude and angle against speed, read from a file or pasted text of any layout.

What a column is says its heading, in any of five languages; without headings they are speed, amplitude, angle.
Unit and measure are taken from headings or stated by a person; where neither tells, that is a question.
"""

from __future__ import annotations

import re
import tempfile
from collections.abc import Iterable, Sequence
from dataclasses import dataclass, field
from datetime import date
from pathlib import Path

from ..quantities.errors import BadInput, UnreadableFile
from .curve_table import CurveTable, Measure, Unit, is_kept_table, table_from_text
from .loose_table import Cell, open_table, text_of

LARGEST_BYTES = 20_000_000
"""A table is small; what is larger is a recording."""


@dataclass(frozen=True)
class StatedTable:
    """What a person states of a table that leaves it open; empty where it says so itself."""

    unit: str = ""
    measure: str = ""
    rig: str = ""
    operator: str = ""
    recorded_at: str = ""
    sheet: str = ""


@dataclass(frozen=True)
class _Column:
    """A column: its role, place, heading without unit, and what the heading says of unit and measure."""

    role: str
    place: int
    name: str = ""
    unit: str = ""
    measure: str = ""
    factor: float = 1.0


@dataclass
class _Lines:
    """The rows of the numbers, with their line numbers, and what stands above."""

    body: list[tuple[int, list[Cell]]] = field(default_factory=list)
    before: list[tuple[int, list[Cell]]] = field(default_factory=list)

    @property
    def above(self) -> list[list[Cell]]:
        """What stands above, without the line numbers."""
        return [cells for _, cells in self.before]


def table_from_file(path: Path, stated: StatedTable | None = None, *, name: str = "") -> CurveTable:
    """Return the table in a file: CSV of any make, XLSX, ODS, XLS, or one that was kept.

    Raises
    ------
    UnreadableFile
        It is neither text nor a workbook, or a cell is no number; names the line.
    BadInput
        Unit or measure are not stated, columns are not known, or a value cannot be.
    """
    stated, name = stated or StatedTable(), name or path.name
    source = open_table(path, sheet=stated.sheet, name=name)
    if path.stat().st_size > LARGEST_BYTES:
        raise UnreadableFile(
            f"{name} is too large for a table of speeds.",
            remedy="Bring a recording as a recording.",
        )
    if source.sheets:
        return _table(source.rows(), stated, name)
    text = text_of(path).removeprefix("\ufeff")
    return _from_text(text, path, stated, name)


def table_from_pasted(
    text: str, stated: StatedTable | None = None, *, name: str = "the table"
) -> CurveTable:
    """Return the table of a pasted or typed text; raises as `table_from_file` does."""
    if len(text) > LARGEST_BYTES:
        raise BadInput(f"{name} is too large.", remedy="Paste only the rows of the table.")
    with tempfile.TemporaryDirectory(ignore_cleanup_errors=True) as folder:
        path = Path(folder) / "pasted.csv"
        path.write_text(text, encoding="utf-8")
        return _from_text(text, path, stated or StatedTable(), name)


def _from_text(text: str, path: Path, stated: StatedTable, name: str) -> CurveTable:
    if is_kept_table(text):
        return table_from_text(text, name=name)
    if re.search(r"[;\t|]", text) or not _by_blanks(text):
        return _table(open_table(path, name=name).rows(), stated, name)
    split = ((i, [*map(_or_none, line.split())]) for i, line in enumerate(text.splitlines(), 1))
    return _table(split, stated, name)


def _or_none(cell: str) -> Cell:
    return cell or None


def _by_blanks(text: str) -> bool:
    """Whether the rows of numbers are split by blanks: two or three numbers, and no comma at an end of one."""
    number = r"[-+]?(?:\d+(?:[.,]\d+)*|[.,]\d+)"
    return re.search(rf"(?m)^\s*{number}(?:[ \xa0]+{number}){{1,8}}\s*$", text) is not None


def _table(rows: Iterable[tuple[int, list[Cell]]], stated: StatedTable, name: str) -> CurveTable:
    lines = _found(rows)
    if not lines.body:
        raise UnreadableFile(
            f"{name} has no row of numbers.",
            remedy="Give a row for each speed: speed, amplitude, and angle where the rig shows one.",
        )
    columns = _columns(lines, name)
    speed = next(c for c in columns if c.role == "speed")
    amplitudes = [c for c in columns if c.role == "amplitude"]
    angles = [c for c in columns if c.role == "angle"]
    if angles and len(angles) != len(amplitudes):
        raise BadInput(
            f"{name} has {len(amplitudes)} columns of amplitudes and {len(angles)} of angles.",
            remedy="Give each amplitude its angle, or leave the angles out.",
        )
    speeds = _speeds(lines, speed, name)
    values, steps = _values(lines, amplitudes, name)
    turned, turned_steps = _values(lines, angles, name)
    used = {c.place for c in columns}
    note = "\n".join(_noted(lines, used))
    return CurveTable(
        speeds,
        values,
        _one(stated.unit, [c.unit for c in amplitudes], "unit", name),  # type: ignore[arg-type]  # checked when made
        _one(stated.measure, [c.measure for c in amplitudes], "measure", name),  # type: ignore[arg-type]  # as above
        turned or None,
        _names(amplitudes),
        step=max(steps),
        angle_step_deg=max(turned_steps, default=0.0),
        rig=stated.rig,
        operator=stated.operator,
        recorded_at=stated.recorded_at,
        note=note,
    )


def _found(rows: Iterable[tuple[int, list[Cell]]]) -> _Lines:
    lines = _Lines()
    for number, cells in rows:
        filled = [c for c in cells if c is not None]
        if not filled:
            continue
        numbers = sum(_is_number(c) for c in filled)
        first = _is_number(filled[0]) and (
            numbers >= 2 or (numbers == len(filled) and len(cells) > 1)
        )
        if lines.body or first:
            lines.body.append((number, cells))
        else:
            lines.before.append((number, cells))
    return _without_holes(lines)


def _without_holes(lines: _Lines) -> _Lines:
    """Return the rows with those above that begin and are filled as they are: one of their cells is no number."""
    width = max((sum(c is not None for c in r) for _, r in lines.body), default=0)
    rows = [
        (n, r)
        for n, r in lines.before
        if sum(c is not None for c in r) == width
        and _is_number(next(c for c in r if c is not None))
    ]
    above = [(n, r) for n, r in lines.before if (n, r) not in rows]
    return _Lines(sorted([*rows, *lines.body], key=lambda line: line[0]), above)


def _is_number(cell: Cell) -> bool:
    return isinstance(cell, float) or (
        isinstance(cell, str)
        and re.fullmatch(r"[-+]?[\d.,]*\d[\d.,]*(?:[eE][-+]?\d+)?°?", _plain(cell)) is not None
    )


def _plain(cell: str) -> str:
    return re.sub(r"[\s\u00a0\u2009\u202f'’]", "", cell)


SPEED = (
    r"speed|rpm|drehzahl|vitesse|r[ée]gime|velocidad|giro|revol|转速|u/min|min-1|min⁻¹|min\^-1|1/min"
    r"|tr/min|r/min|upm"
)
ANGLE = r"angle|phase|winkel|[áa]ngulo|\bfase|相位|角|°|\bdeg\b|\bgrad\b"
AMPLITUDE = (
    r"ampl|vib|accel|beschl|acc[ée]l|acel|schwing|振|加速|\bg\b|\bg[_ ]?(?:pk|peak|rms|0-p)|m/s"
)
OTHER = r"mm/s|in/s|µm|\bum\b|\bmils?\b"
PEAK_TO_PEAK = (
    r"pk-?pk|p-?p\b|peak[- ]to[- ]peak|spitze[- ]spitze|cr[êe]te[- ][àa][- ]cr[êe]te|峰峰"
)
RMS = r"rms|eff|有效|valeur eff|eficaz"
PEAK = r"peak|\bpk|0-?p\b|zero[- ]to[- ]peak|spitze|scheitel|cr[êe]te|\bpico|峰值|单峰"
MEASURES = {"peak_to_peak": PEAK_TO_PEAK, "rms": RMS, "peak": PEAK}


def _columns(lines: _Lines, name: str) -> list[_Column]:
    width = max(len(c) for _, c in lines.body)
    heads = _heads(lines, width)
    if heads is None:
        filled = [
            i for i in range(width) if any(i < len(c) and c[i] is not None for _, c in lines.body)
        ]
        if len(filled) > 3 or len(filled) < 2:
            raise BadInput(
                f"{name} has {len(filled)} columns without headings.",
                remedy="Give speed, amplitude and, where there is one, angle; or write headings above.",
            )
        return [
            _Column(r, i) for r, i in zip(("speed", "amplitude", "angle"), filled, strict=False)
        ]
    found = [c for i, head in enumerate(heads) if (c := _column(i, head)) is not None]
    speeds = [c for c in found if c.role == "speed"]
    if len(speeds) != 1 or not any(c.role == "amplitude" for c in found):
        shown = ", ".join(repr(h) for h in heads if h)
        raise BadInput(
            f"{name}: which columns are speed and amplitude is not known from {shown}.",
            remedy='Call one "speed [rpm]", the others "amplitude [g]" and "angle [deg]".',
        )
    return found


def _heads(lines: _Lines, width: int) -> list[str] | None:
    """Return the heading of each column with its unit's row; None where there is none."""
    least = min(width, max(sum(c is not None for c in r) for _, r in lines.body))
    last = [r for r in lines.above[-2:] if sum(c is not None for c in r) >= 2]
    if not last or sum(c is not None for c in last[-1]) < min(least, 2):
        return None
    merged = [
        " ".join(str(r[i]) for r in last if i < len(r) and r[i] is not None) for i in range(width)
    ]
    known = any(re.search(rf"{SPEED}|{ANGLE}|{AMPLITUDE}", m.lower()) for m in merged)
    whole = sum(c is not None for c in last[-1]) >= least
    return merged if known or whole else None


def _column(place: int, head: str) -> _Column | None:
    low = head.lower()
    if re.search(OTHER, low):
        raise BadInput(
            f"Column {head!r} is no acceleration.", remedy="Bring g or m/s²; leave the column out."
        )
    if re.search(ANGLE, low):
        return _Column("angle", place, head)
    if re.search(SPEED, low):
        factor = 1000.0 if re.search(r"krpm|1000 ?(?:rpm|/min)|×1000|x1000", low) else 1.0
        factor = 60.0 if re.search(r"\bhz\b|1/s\b|\brps\b", low) else factor
        return _Column("speed", place, head, factor=factor)
    if re.search(AMPLITUDE, low):
        unit = "m/s²" if re.search(r"m/s(?:\^?2|²)", low) else ""
        unit = unit or ("g" if re.search(r"(?:^|[\s\[(,_/])g(?:$|[\s\]),_])", low) else "")
        measure = next((m for m, words in MEASURES.items() if re.search(words, low)), "")
        return _Column("amplitude", place, head, unit, measure)
    return None


def _names(columns: Sequence[_Column]) -> tuple[str, ...]:
    """Return what the sensors are called: what headings say beside the trade's words."""
    if len(columns) == 1:
        return ("housing",)
    plain = rf"amplitude|amplitud|vibration|vibración|amp|{PEAK_TO_PEAK}|rms|peak|pk|g"
    words = rf"\[[^\]]*\]|\([^)]*\)|\b(?:{plain})\b|m/s²?2?"
    names = [re.sub(words, " ", c.name, flags=re.IGNORECASE) for c in columns]
    names = [" ".join(n.split()).strip(" ,;:-_") for n in names]
    if len(set(names)) < len(names) or not all(names):
        return tuple(f"sensor {i}" for i in range(1, len(columns) + 1))
    return tuple(names)


_WORDS = {
    "m/s2": "m/s²", "m/s^2": "m/s²", "0-p": "peak", "zero_to_peak": "peak", "p-p": "peak_to_peak",
}  # fmt: skip


def _one(stated: str, said: Sequence[str], what: str, name: str) -> Unit | Measure | str:
    """Return what is stated, or what all headings say; a question where neither tells, or they disagree."""
    stated = _WORDS.get(stated.strip(), stated.strip())
    known = {s for s in said if s}
    if len(known) > 1 or (stated and known and known != {stated}):
        told = " and ".join(sorted(known))
        raise BadInput(
            f"{name}: its headings say {told}" + (f", and {stated} is stated." if stated else "."),
            remedy="Bring one of them alone, or correct the headings.",
        )
    if stated or (known and len([s for s in said if s]) == len(said)):
        return stated or known.pop()
    raise _question(what, name)


def _question(what: str, name: str) -> BadInput:
    if what == "unit":
        return BadInput(
            f"{name} does not say in which unit its amplitudes are.", remedy="State g or m/s²."
        )
    return BadInput(
        f"{name} does not say whether its amplitudes are zero to peak, rms or peak to peak.",
        remedy="State peak (zero to peak), rms or peak_to_peak: the rig's manual says which.",
    )


def _speeds(lines: _Lines, column: _Column, name: str) -> tuple[float, ...]:
    cells = [_cell(line, cells, column, "speed", name) for line, cells in lines.body]
    texts = [_plain(c) for _, c in cells if isinstance(c, str)]
    grouped = texts and all(re.fullmatch(r"\d{1,3}(?:[.,]\d{3})+|\d+", t) for t in texts)
    grouped = grouped and any(re.search(r"[.,]", t) for t in texts)
    if grouped and column.factor == 1.0:  # 120.000 and 120,000: no rotor is balanced at 120 rpm
        return tuple(
            float(re.sub(r"[.,]", "", _plain(c))) if isinstance(c, str) else float(c)
            for _, c in cells
        )
    return tuple(_number(line, c, "speed", name) * column.factor for line, c in cells)


def _values(
    lines: _Lines, columns: Sequence[_Column], name: str
) -> tuple[tuple[tuple[float, ...], ...], list[float]]:
    """Return each column's numbers, and the last figure each was given to."""
    values, steps = [], []
    for column in columns:
        cells = [_cell(line, cells, column, column.role, name) for line, cells in lines.body]
        values.append(tuple(_number(line, c, column.role, name) for line, c in cells))
        steps.append(10.0 ** -max(_decimals(c) for _, c in cells))
    return tuple(values), steps


def _cell(
    line: int, cells: Sequence[Cell], column: _Column, what: str, name: str
) -> tuple[int, str | float]:
    cell = cells[column.place] if column.place < len(cells) else None
    if cell is None or isinstance(cell, date):
        raise UnreadableFile(
            f"{name}, line {line}: there is no {what}.",
            remedy="Fill it in, or take the row out; a hole is never filled by guessing.",
        )
    return line, cell


def _number(line: int, cell: str | float, what: str, name: str) -> float:
    if isinstance(cell, float):
        return cell
    text = _plain(cell).removesuffix("°")
    if "," in text and "." in text:  # the last of the two is the decimal one
        group = "," if text.rfind(".") > text.rfind(",") else "."
        text = text.replace(group, "")
    try:
        return float(text.replace(",", "."))
    except ValueError:
        raise UnreadableFile(
            f"{name}, line {line}: {cell[:30]!r} is no {what}.",
            remedy="Mend that cell, or take the row out.",
        ) from None


def _decimals(cell: str | float) -> int:
    text = repr(cell) if isinstance(cell, float) else _plain(cell).removesuffix("°")
    whole, _, part = text.replace(",", ".").partition(".")
    del whole
    return 0 if part == "0" and isinstance(cell, float) else min(len(part.split("e")[0]), 12)


def _noted(lines: _Lines, used: set[int]) -> list[str]:
    """Return the lines and columns of the file that are none of the table's, so that nothing is lost."""
    out = [" ".join(str(c) for c in row if c is not None) for row in lines.above]
    for number, cells in lines.body:
        further = [str(c) for i, c in enumerate(cells) if i not in used and c is not None]
        if further:
            out.append(f"line {number}: " + "; ".join(further))
    return [" ".join(line.split()) for line in out]
