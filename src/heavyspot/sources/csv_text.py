"""Text with a header line: one column for time, one for each channel.

Header cells are ``name [unit]`` or ``name (unit)``; the first column is the time in seconds. Comma,
semicolon or tab between columns; a decimal comma where columns are not split by commas. Our own
files carry the sidecar's content in a first line that begins with ``# heavyspot ``.
"""

from __future__ import annotations

import io
import json
import re
from collections.abc import Iterator
from itertools import islice
from pathlib import Path

import numpy as np
from numpy.typing import NDArray

from ..quantities.errors import UnreadableFile
from .readers import described, guessed_channel
from .recording import Recording
from .sidecar import Sidecar, parse_sidecar

_LINES_AT_ONCE = 65_536
_CELL = re.compile(r"^\s*\"?(?P<name>.*?)\s*[\[(](?P<unit>[^\])]*)[\])]\"?\s*$")


class CsvReader:
    """Reads columns of numbers under a header."""

    name = "csv"
    suffixes = (".csv", ".tsv", ".txt")

    def recognise(self, head: bytes, name: str) -> bool:
        """Known by its suffix, and by being text."""
        return name.lower().endswith(self.suffixes) and b"\0" not in head

    def read(self, path: Path, sidecar: Sidecar | None) -> Recording:
        """Return the recording; the sample rate comes from the time column."""
        with path.open(encoding="utf-8-sig", errors="replace") as file:
            own, header, skip = _header(file, path.name)
            start = [line for line in islice(file, 2000) if line.strip()]
        separator = _separator(header, path.name)
        decimal_comma = separator != "," and any("," in line for line in start)
        names = [cell.strip().strip('"') for cell in header.rstrip("\n").split(separator)]
        if not names[0].lower().startswith(("time", "t [", "t(", "t_", "zeit")) and names[0] != "t":
            raise UnreadableFile(
                f"{path.name}: the first column is {names[0]!r}, not time.",
                remedy="Put the time in seconds in the first column, named time [s].",
            )
        table = _numbers(start, separator, decimal_comma, len(names), path.name, skip)
        rate, notes = _rate(table[:, 0], path.name)
        channels = []
        for cell in names[1:]:
            match = _CELL.match(cell)
            channels.append(
                guessed_channel(*(match["name"], match["unit"]) if match else (cell, ""))
            )

        def opener(size: int) -> Iterator[NDArray[np.float32]]:
            del size  # lines are the natural unit here
            with path.open(encoding="utf-8-sig", errors="replace") as file:
                for _ in range(skip):
                    file.readline()
                line_no, time = skip, float(table[0, 0])
                while lines := list(islice(file, _LINES_AT_ONCE)):
                    data = _numbers(lines, separator, decimal_comma, len(names), path.name, line_no)
                    line_no += len(lines)
                    if not data.size:
                        continue
                    _refuse_gap(data[:, 0], time, rate, path.name)
                    time = float(data[-1, 0]) + 1 / rate
                    yield data[:, 1:].astype(np.float32)

        recording = Recording(
            channels=tuple(channels),
            sample_rate_hz=rate,
            n_samples=-1,
            opener=opener,
            notes=notes,
            path=path,
        )
        return described(recording, sidecar or own, rate_may_differ=True)


def _header(file: io.TextIOBase, name: str) -> tuple[Sidecar | None, str, int]:
    own = None
    for skip, line in enumerate(file, start=1):
        if line.startswith("# heavyspot "):
            try:
                own = parse_sidecar(json.loads(line[len("# heavyspot ") :]), name=name)
            except json.JSONDecodeError:
                raise UnreadableFile(
                    f"{name}: line {skip} is damaged.", remedy="Export the recording again."
                ) from None
        elif line.strip() and not line.startswith("#"):
            return own, line, skip
    raise UnreadableFile(
        f"{name} has no header line.", remedy="Name the columns in the first line."
    )


def _separator(header: str, name: str) -> str:
    found = [s for s in (";", "\t", ",") if s in header]
    if not found:
        raise UnreadableFile(
            f"{name}: the header {header.strip()[:60]!r} has no comma, semicolon or tab.",
            remedy="Give at least a time column and one channel.",
        )
    if len(found) > 1:
        counts = sorted(((header.count(s), s) for s in found), reverse=True)
        if counts[0][0] == counts[1][0]:
            raise UnreadableFile(
                f"{name}: the header could be split by {found[0]!r} or {found[1]!r}.",
                remedy="Use one separator.",
            )
        return counts[0][1]
    return found[0]


def _numbers(
    lines: list[str], separator: str, decimal_comma: bool, columns: int, name: str, line_no: int
) -> NDArray[np.float64]:
    lines = [line for line in lines if line.strip()]
    if not lines:
        return np.empty((0, columns))
    if decimal_comma:
        lines = [line.replace(",", ".") for line in lines]
    try:
        table = np.loadtxt(lines, delimiter=separator, ndmin=2, dtype=np.float64)
    except ValueError:
        table = np.empty((0, 0))
    if table.shape[1] != columns:
        raise _bad_line(lines, separator, columns, name, line_no)
    return table


def _bad_line(
    lines: list[str], separator: str, columns: int, name: str, line_no: int
) -> UnreadableFile:
    for i, line in enumerate(lines):
        cells = line.rstrip("\n").split(separator)
        where = f"{name}, line {line_no + i + 1}"
        if len(cells) != columns:
            return UnreadableFile(
                f"{where}: {len(cells)} columns, {columns} expected.",
                remedy="Mend that line; a file cut short ends like this.",
            )
        for cell in cells:
            try:
                float(cell)
            except ValueError:
                return UnreadableFile(
                    f"{where}: {cell.strip()[:30]!r} is not a number.",
                    remedy="Mend that line; Heavyspot does not fill gaps.",
                )
    return UnreadableFile(f"{name} cannot be read as numbers.", remedy="Export it again.")


def _rate(time: NDArray[np.float64], name: str) -> tuple[float, tuple[str, ...]]:
    if time.size < 3:
        raise UnreadableFile(f"{name} holds {time.size} samples.", remedy="Export it again.")
    if not np.isfinite(time).all():
        raise UnreadableFile(
            f"{name}: the time column holds NaN.", remedy="Export the recording again without gaps."
        )
    step = (time[-1] - time[0]) / (time.size - 1)
    uneven = np.abs(np.diff(time) - step).max()
    if step <= 0 or uneven > 0.25 * step:
        row = int(np.argmax(np.abs(np.diff(time) - step)))
        raise UnreadableFile(
            f"{name}: time steps are not even (near sample {row}).",
            remedy="Export with one sample rate; Heavyspot does not resample.",
        )
    return snapped_rate(1 / step)


def snapped_rate(rate_hz: float) -> tuple[float, tuple[str, ...]]:
    """Return a usual rate within 0.01 % of `rate_hz` (printed time steps are rounded), and a note."""
    base = (8000, 11025, 12800, 44100, 48000, 50000, 65536, 100000)
    usual = [b * 2.0**k for b in base for k in range(-2, 6)]
    near = min(usual, key=lambda u: abs(u / rate_hz - 1))
    if abs(near / rate_hz - 1) < 1e-4:
        if near == rate_hz:
            return near, ()
        return near, (f"The printed time step gives {rate_hz:.3f} Hz; {near:g} Hz is taken.",)
    return rate_hz, ()


def _refuse_gap(time: NDArray[np.float64], expected: float, rate: float, name: str) -> None:
    if (
        abs(time[0] - expected) > 0.5 / rate
        or np.abs(np.diff(time) * rate - 1).max(initial=0) > 0.5
    ):
        raise UnreadableFile(
            f"{name}: time steps are not even near {time[0]:.4f} s.",
            remedy="Export with one sample rate; Heavyspot does not resample.",
        )
