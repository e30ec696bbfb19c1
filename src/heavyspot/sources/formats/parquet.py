"""Parquet, through duckdb: a column a channel, named ``name [unit]``.

The rate comes from a column of time (one of a timestamp type knows its unit) or from the file's own
key and value pairs (``sample_rate_hz``, ``fs``).
"""

from __future__ import annotations

from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path
from typing import Any

import numpy as np
from numpy.typing import NDArray

from ...quantities.errors import UnreadableFile, need
from ..recording import Recording
from ..sidecar import Sidecar
from .arrays import FoundArray, FoundArrays, Getter, recording_of

_NUMBERS = {
    "DOUBLE", "FLOAT",
    "TINYINT", "SMALLINT", "INTEGER", "BIGINT", "UTINYINT", "USMALLINT", "UINTEGER", "UBIGINT",
}  # fmt: skip


class ParquetReader:
    """Reads the columns of numbers of a Parquet file."""

    name = "parquet"
    suffixes = (".parquet", ".pq")

    def recognise(self, head: bytes, name: str) -> bool:
        """A Parquet file begins with PAR1."""
        return head[:4] == b"PAR1"

    def read(self, path: Path, sidecar: Sidecar | None) -> Recording:
        """Return the recording; the columns are read whole."""
        need("duckdb", "insight", "Recordings in Parquet")
        import duckdb

        try:
            with duckdb.connect() as base:
                columns = _columns(base, path)
                count = int(_all(base, "select count(*) from read_parquet(?)", path)[0][0])
                numbers = _pairs(base, path)
        except (duckdb.Error, OSError) as fault:
            raise UnreadableFile(
                f"{path.name} is damaged ({str(fault)[:80]}).", remedy="Export it again."
            ) from None
        left_out = [name for name, kind in columns.items() if not _taken(kind)]
        arrays = tuple(
            FoundArray(
                name.replace("/", "|"), (count,), "s" if kind.startswith("TIMESTAMP") else ""
            )
            for name, kind in columns.items()
            if _taken(kind)
        )
        notes = (f"Columns that are no numbers are left out: {', '.join(left_out)}.",) * bool(left_out)  # fmt: skip
        names = {n.replace("/", "|"): (n, k) for n, k in columns.items()}
        found = FoundArrays(arrays, lambda: _getter(path, names), numbers, notes=notes)
        return recording_of(path, found, sidecar)


def _taken(kind: str) -> bool:
    return kind in _NUMBERS or kind.startswith(("DECIMAL", "TIMESTAMP"))


def _all(base: Any, query: str, path: Path) -> list[tuple[Any, ...]]:
    return base.execute(query, [str(path)]).fetchall()


def _columns(base: Any, path: Path) -> dict[str, str]:
    """Return name and type of each column; the row number that some programs store beside them is none."""
    rows = _all(base, "describe select * from read_parquet(?)", path)
    return {str(r[0]): str(r[1]) for r in rows if not _is_index(str(r[0]), str(r[1]))}


def _is_index(name: str, kind: str) -> bool:
    return name.startswith("__index_level_") and kind == "BIGINT"


def _pairs(base: Any, path: Path) -> dict[str, float]:
    out: dict[str, float] = {}
    for _, key, value in _all(base, "select * from parquet_kv_metadata(?)", path):
        try:
            out[bytes(key).decode()] = float(bytes(value))
        except ValueError:
            continue  # text of other programs
    return out


@contextmanager
def _getter(path: Path, names: dict[str, tuple[str, str]]) -> Iterator[Getter]:
    import duckdb

    held: dict[str, NDArray[np.float64]] = {}
    with duckdb.connect() as base:

        def get(place: str, start: int, end: int) -> NDArray[np.float64]:
            if place not in held:
                held[place] = _column(base, path, *names[place])
            return held[place][start:end]

        yield get


def _column(base: Any, path: Path, name: str, kind: str) -> NDArray[np.float64]:
    """Return a column; a missing value is NaN, which is found and named where blocks are read."""
    quoted = '"' + name.replace('"', '""') + '"'
    if kind.startswith("TIMESTAMP"):
        # nanoseconds of this century do not fit a float: count from the first
        quoted = f"(epoch_ns({quoted}) - first_value(epoch_ns({quoted})) over ()) / 1e9"
    query = f"select {quoted} as v from read_parquet(?)"
    values = base.execute(query, [str(path)]).fetchnumpy()["v"]
    return np.ma.filled(np.ma.asarray(values, dtype=np.float64), np.nan)
