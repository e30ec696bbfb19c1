"""One question of somebody's own, answered in a process of its own: killed on time, bounded in memory.

Run as a program: the question comes as JSON on its standard input, the answer goes as JSON to its standard output.
It reads a copy of the statistics and nothing else: no file, no network, no settings. Whatever a question makes the
database do, the workshop's own process does not wait for it, and loses nothing when it ends.
"""

from __future__ import annotations

import contextlib
import json
import sys
from decimal import Decimal
from pathlib import Path

MEMORY_MB = 1000
"""Of the whole process; of it the database may take `SHARE`."""

SHARE = 0.5

LARGEST = 20_000_000
"""Bytes of an answer."""

Cell = str | int | float | bool | None


def main() -> None:
    """Answer."""
    asked = json.load(sys.stdin)
    try:
        _bound()
        told = answer(Path(asked.get("path")), asked.get("question"), asked.get("most"))
    except MemoryError:
        told = {"fault": "memory"}
    sys.stdout.write(json.dumps(told))


def _bound() -> None:
    """Take no more memory than is meant for it, and no core that the bench wants."""
    with contextlib.suppress(ImportError, OSError, ValueError):  # Windows has none of it
        import os
        import resource

        size = MEMORY_MB * 1_000_000
        # address space, not memory: a good deal of it is only reserved
        resource.setrlimit(resource.RLIMIT_AS, (4 * size, 4 * size))
        resource.setrlimit(resource.RLIMIT_DATA, (size, size))
        resource.setrlimit(resource.RLIMIT_CORE, (0, 0))
        os.nice(10)


def answer(path: Path, question: str, most: int) -> dict[str, object]:
    """Return names and rows of an answer, or what is wrong."""
    import duckdb

    bounds: dict[str, str | bool | int | float | list[str]] = {
        "enable_external_access": False,
        "memory_limit": f"{MEMORY_MB * SHARE:.0f}MB",
        "threads": 1,
        "temp_directory": "",  # what does not fit into memory is not put on the disk instead
    }
    try:
        c = duckdb.connect(str(path), read_only=True, config=bounds)
    except (duckdb.IOException, duckdb.BinderException) as fault:
        return {"fault": "away", "why": str(fault).splitlines()[0]}
    try:
        c.execute("set lock_configuration = true")
        kinds = [s.type for s in c.extract_statements(question)]
        if kinds != [duckdb.StatementType.SELECT]:
            return {"fault": "kind"}
        found = c.execute(question)
        names = [str(d[0]) for d in found.description]
        rows: list[list[Cell]] = []
        size = 0
        while len(rows) < most and (part := found.fetchmany(min(200, most - len(rows)))):
            rows += [[_cell(v) for v in row] for row in part]
            size += sum(
                len(v) if isinstance(v, str) else 8 for row in rows[-len(part) :] for v in row
            )
            if size > LARGEST:
                return {"fault": "large"}
        return {"names": names, "rows": rows}
    except duckdb.OutOfMemoryException:
        return {"fault": "memory"}
    except duckdb.Error as fault:
        return {"fault": "wrong", "why": str(fault).splitlines()[0][:400]}
    finally:
        c.close()


def _cell(value: object) -> Cell:
    if value is None or isinstance(value, (bool, int, float, str)):
        return value
    return float(value) if isinstance(value, Decimal) else str(value)[:LARGEST]


if __name__ == "__main__":
    main()
