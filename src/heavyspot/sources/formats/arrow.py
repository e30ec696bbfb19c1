"""Arrow files (IPC, also named Feather 2) and streams, through pyarrow, which comes with the part `arrow`."""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from contextlib import contextmanager
from pathlib import Path
from typing import Any

import numpy as np
from numpy.typing import NDArray

from ...quantities.errors import UnreadableFile
from ..recording import Recording
from ..sidecar import Sidecar
from .arrays import FoundArray, FoundArrays, Getter, recording_of

_UNITS = (b"unit", b"units", b"unit_str")


class ArrowReader:
    """Reads the columns of numbers; a field's metadata may say its unit."""

    name = "arrow"
    suffixes = (".arrow", ".feather", ".ipc", ".arrows")

    def recognise(self, head: bytes, name: str) -> bool:
        """A file begins with ARROW1; a stream with its marker, and is known by its suffix too."""
        stream = head[:4] == b"\xff\xff\xff\xff" and name.lower().endswith(".arrows")
        return head[:6] == b"ARROW1" or stream

    def read(self, path: Path, sidecar: Sidecar | None) -> Recording:
        """Return the recording; the columns are read whole."""
        table = _table(path)
        fields = {f.name.replace("/", "|"): f for f in table.schema}
        taken = {p: f for p, f in fields.items() if _kind(f)}
        arrays = tuple(FoundArray(p, (table.num_rows,), _unit(f)) for p, f in taken.items())
        left_out = [f.name for p, f in fields.items() if p not in taken]
        notes = (f"Columns that are no numbers are left out: {', '.join(left_out)}.",) * bool(left_out)  # fmt: skip
        numbers = _numbers(table.schema.metadata or {})
        names = {p: f.name for p, f in taken.items()}
        found = FoundArrays(arrays, lambda: _getter(table, names), numbers, notes=notes)
        return recording_of(path, found, sidecar)


def _table(path: Path) -> Any:
    try:
        import pyarrow as pa
    except ImportError:
        raise UnreadableFile(
            f"{path.name} is an Arrow file; this installation cannot read them.",
            remedy="Install the part that can: pip install 'heavyspot[arrow]'.",
        ) from None
    try:
        with path.open("rb") as file:
            stream = file.read(4) == b"\xff\xff\xff\xff"
            file.seek(0)
            opened = pa.ipc.open_stream(file) if stream else pa.ipc.open_file(file)
            return opened.read_all()
    except (pa.ArrowInvalid, OSError) as fault:
        raise UnreadableFile(
            f"{path.name} is damaged ({str(fault)[:80]}).", remedy="Export it again."
        ) from None


def _kind(field: Any) -> bool:
    from pyarrow import types

    kind = field.type
    number = types.is_integer(kind) or types.is_floating(kind)
    return number or types.is_timestamp(kind)


def _unit(field: Any) -> str:
    from pyarrow import types

    if types.is_timestamp(field.type):
        return "s"
    said = field.metadata or {}
    return next((said[k].decode(errors="replace") for k in _UNITS if k in said), "")


def _numbers(pairs: Mapping[bytes, bytes]) -> dict[str, float]:
    out: dict[str, float] = {}
    for key, value in pairs.items():
        try:
            out[key.decode()] = float(value)
        except ValueError:
            continue  # text of other programs
    return out


@contextmanager
def _getter(table: Any, names: dict[str, str]) -> Iterator[Getter]:
    def get(place: str, start: int, end: int) -> NDArray[np.float64]:
        return _values(table[names[place]], start, end)

    yield get


def _values(column: Any, start: int, end: int) -> NDArray[np.float64]:
    """Return values; times count in seconds from the first, and a missing value is NaN."""
    from pyarrow import types

    part = column.slice(start, end - start)
    if not types.is_timestamp(column.type):
        return np.asarray(part.to_numpy(), np.float64)
    first = column[0].cast("timestamp[ns]").value
    ticks = part.cast("timestamp[ns]").cast("int64").to_numpy()
    return (ticks - first) / 1e9
