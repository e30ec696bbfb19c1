"""Tables for other programs: text, workbooks, typed columns."""

from __future__ import annotations

import csv
import io
import tempfile
from collections.abc import Sequence
from dataclasses import asdict
from pathlib import Path

from ..quantities.errors import need
from ..workshop.records import Content, Piece
from ..workshop.rows_text import rows_csv

COLUMNS = {
    "serial": "VARCHAR",
    "model": "VARCHAR",
    "position": "VARCHAR",
    "customer": "VARCHAR",
    "invoice": "VARCHAR",
    "day": "DATE",
    "number": "INTEGER",
    "verdict": "VARCHAR",
    "worst_ratio": "DOUBLE",
    "at": "VARCHAR",
}

MOST_ROWS = 100_000

MEDIA = {
    "csv": "text/csv; charset=utf-8",
    "xlsx": "application/vnd.openxmlformats-officedocument.spreadsheetml.sheet",
    "parquet": "application/vnd.apache.parquet",
}


def pieces_as(kind: str, pieces: Sequence[Piece]) -> tuple[bytes, str]:
    """Return pieces as a table of a kind, and its media type.

    Parameters
    ----------
    kind : str
        csv, xlsx or parquet.
    """
    made = {"csv": lambda r: rows_csv(r, list(COLUMNS)), "xlsx": _xlsx, "parquet": _parquet}[kind]
    return made([asdict(p) for p in pieces]), MEDIA[kind]


def _xlsx(rows: Sequence[Content]) -> bytes:
    """Return a workbook; text stays text, whatever it begins with."""
    import xlsxwriter

    out = io.BytesIO()
    options = {"in_memory": True, "strings_to_formulas": False, "strings_to_urls": False}
    with xlsxwriter.Workbook(out, options) as book:
        sheet, bold = book.add_worksheet("Pieces"), book.add_format({"bold": True})
        sheet.freeze_panes(1, 0)
        sheet.write_row(0, 0, list(COLUMNS), bold)
        for i, r in enumerate(rows, start=1):
            for k, name in enumerate(COLUMNS):
                value = r[name]
                if isinstance(value, str):
                    sheet.write_string(i, k, value)
                elif value is not None:
                    sheet.write_number(i, k, value)
        sheet.autofilter(0, 0, len(rows), len(COLUMNS) - 1)
        sheet.set_column(0, len(COLUMNS) - 1, 18)
    return out.getvalue()


def _parquet(rows: Sequence[Content]) -> bytes:
    need("duckdb", "insight", "Tables in Parquet")
    import duckdb

    with tempfile.TemporaryDirectory(ignore_cleanup_errors=True) as folder, duckdb.connect() as c:
        text, made = Path(folder) / "t.csv", Path(folder) / "t.parquet"
        with text.open("w", encoding="utf-8", newline="") as file:
            csv.writer(file).writerow(COLUMNS)  # without a row, too, the columns are there
            csv.writer(file).writerows([[r[name] for name in COLUMNS] for r in rows])
        kinds = list(COLUMNS.values())
        c.read_csv(str(text), header=True, dtype=kinds).write_parquet(str(made))
        return made.read_bytes()
