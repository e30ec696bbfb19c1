"""Bringing a table of the old book in: looked at first, then row by row, each row once."""

from __future__ import annotations

import hashlib
import json
from collections.abc import Callable, Iterator
from dataclasses import asdict, dataclass, field, replace
from datetime import UTC, datetime
from pathlib import Path
from typing import Any

from ...ledger.entries.old_book import OldRow
from ...ledger.find.search import plain
from ...quantities.errors import BadInput, LedgerAway
from ...sources.loose_table import Cell, LooseTable
from ..rows_text import typed_cell
from ..shop import Workshop
from .cells import Order, as_date, as_peak, as_speed, as_text, as_verdict, date_order
from .customers import merge_customers
from .layout import Layout, find_header, guess_layout, recall, remember
from .rejects import OURS, Refused, rejecting

BATCH = 2000

SHOWN = 12

LONGEST = {"serial": 120, "customer": 200, "invoice": 80, "model": 120, "position": 40}
TEXTS = (*LONGEST, "operator", "rig", "supplier", "note")


@dataclass
class Told:
    """What bringing a table in did, or would do.

    Attributes
    ----------
    rows, taken, known, refused : int
        Rows with anything in them; newly kept; kept already; not taken.
    pieces, jobs : int
        That were new.
    rejects : str
        File of the rows not taken; empty when there are none.
    stopped : bool
        A person stopped it; what was taken stays, and doing it again goes on.
    """

    rows: int = 0
    taken: int = 0
    known: int = 0
    refused: int = 0
    pieces: int = 0
    jobs: int = 0
    rejects: str = ""
    stopped: bool = False


@dataclass(frozen=True)
class Preview:
    """A table as it would be read.

    Attributes
    ----------
    headers : tuple of str
    layout : Layout
        Remembered or guessed, with the customers it merges.
    remembered : bool
    questions : tuple of str
        What only a person can say; nothing is taken before.
    rows : int
    first : tuple of dict
        The first rows as they would be kept.
    refused : tuple of Refused
        The first rows that cannot be taken; `refused_count` in all.
    alike : tuple of (str, str)
        Customers that may be one.
    new_models : tuple of str
        Models of the table the ledger does not know.
    """

    headers: tuple[str, ...]
    layout: Layout
    remembered: bool
    questions: tuple[str, ...]
    rows: int
    first: tuple[dict[str, Any], ...]
    refused: tuple[Refused, ...]
    refused_count: int
    alike: tuple[tuple[str, str], ...]
    new_models: tuple[str, ...]


@dataclass
class _Reading:
    """A table with its header found and a layout that fits it."""

    table: LooseTable
    line: int
    headers: tuple[str, ...]
    layout: Layout
    today: Any = field(default_factory=lambda: datetime.now(UTC).date())

    def bodies(self) -> Iterator[tuple[int, dict[str, Cell]]]:
        """Yield line and cells by header of every row with anything in it."""
        for line, cells in self.table.rows():
            if line > self.line and any(c not in (None, "") for c in cells):
                if self.headers[:2] == OURS:  # rows that were not taken, corrected
                    cells = [typed_cell(c) if isinstance(c, str) else c for c in cells]
                yield line, dict(zip(self.headers, cells, strict=False))

    def columns(self, *names: str) -> tuple[list[list[Cell]], int]:
        """Return all cells of some fields, and how many rows there are; one pass."""
        headers = [self.layout.columns.get(n, "") for n in names]
        columns: list[list[Cell]] = [[] for _ in names]
        rows = 0
        for _, row in self.bodies():
            rows += 1
            for header, column in zip(headers, columns, strict=True):
                column.append(row.get(header))
        return columns, rows


def open_reading(shop: Workshop, table: LooseTable, layout: Layout | None = None) -> _Reading:
    """Return a table ready to be taken: with the layout given, else the remembered, else the guessed one."""
    line, headers = find_header(table.rows())
    found = layout or recall(shop.book.folder, headers) or guess_layout(headers)
    return _Reading(table, line, headers, found)


def preview(shop: Workshop, table: LooseTable, layout: Layout | None = None) -> Preview:
    """Return a table as it would be read, with what is not clear.

    Raises
    ------
    UnreadableFile, BadInput
        The file cannot be read, or has no header.
    """
    reading = open_reading(shop, table, layout)
    remembered = layout is None and recall(shop.book.folder, reading.headers) is not None
    questions: list[str] = []
    try:
        reading.layout.checked(reading.headers)
    except BadInput as fault:
        questions.append(str(fault))
    reading, alike, unclear, rows = _settled(shop, reading)
    questions += unclear
    first: list[dict[str, Any]] = []
    refused: list[Refused] = []
    models: set[str] = set()
    refused_count = 0
    for told in _read(reading) if "serial" in reading.layout.columns else ():
        if isinstance(told, Refused):
            refused_count += 1
            if len(refused) < SHOWN:
                refused.append(told)
            continue
        models.add(told.model)
        if len(first) < SHOWN:
            first.append({"serial": told.serial, "model": told.model, **told.content})
    known = set(shop.book.models.names()) | set(shop.book.models.names("rotor"))
    return Preview(
        reading.headers,
        reading.layout,
        remembered,
        tuple(questions),
        rows,
        tuple(first),
        tuple(refused),
        refused_count,
        tuple(alike),
        tuple(sorted(m for m in models - known if m)),
    )


def _settled(
    shop: Workshop, reading: _Reading
) -> tuple[_Reading, list[tuple[str, str]], list[str], int]:
    """Return a reading whose layout also says the order of dates and who is whom.

    Beside it customers that may be one, questions only a person can answer, and the number of rows.
    """
    layout, questions = reading.layout, []
    (days, customers, models_told), rows = reading.columns("date", "customer", "model")
    if not layout.dates:
        order = date_order(days)
        if order is None:
            questions.append(
                "Day or month first? Dates such as 03/04/2019 can be either: say dates = dmy or mdy."
            )
        layout = layout.model_copy(update={"dates": order or ""})
    merged, alike = merge_customers(map(as_text, customers), shop.book.old_book.customers())
    models = {plain(m): m for k in ("cartridge", "rotor") for m in shop.book.models.names(k)}
    renamed = {
        text: models[plain(text)]
        for text in set(map(as_text, models_told))
        if plain(text) in models and models[plain(text)] != text
    }
    update = {"customers": merged | layout.customers, "models": renamed | layout.models}
    alike = [pair for pair in alike if pair[0] not in layout.customers]
    return replace(reading, layout=layout.model_copy(update=update)), alike, questions, rows


def bring_in(
    shop: Workshop,
    table: LooseTable,
    layout: Layout | None = None,
    *,
    rejects: Path,
    by: str = "",
    dry_run: bool = False,
    progress: Callable[[int, int], None] | None = None,
    stop: Callable[[], bool] = lambda: False,
) -> Told:
    """Take a table's rows into the ledger; rows kept before are left, so that it may be tried again.

    Parameters
    ----------
    rejects : Path
        CSV that gets the rows not taken, each with its line and reason; not made when there are none.
    dry_run : bool
        Only say what would be done.
    progress : callable, optional
        Told rows done and rows in all.
    stop : callable
        Asked between batches; true stops, and what was taken stays.

    Raises
    ------
    UnreadableFile, BadInput
        The file cannot be read, or something only a person can say is open.
    LedgerAway
        The disk or the database refuses; says how many rows are done.
    """
    reading = open_reading(shop, table, layout)
    reading.layout.checked(reading.headers)
    reading, _, questions, total = _settled(shop, reading)
    if questions:
        raise BadInput(questions[0], remedy="Then start again.")
    told = Told()
    lines: dict[str, int] = {}
    unseen: set[str] = set()
    with rejecting(rejects, reading.headers) as refused:
        batch: list[OldRow] = []

        def keep() -> None:
            try:
                keep_batch()
            except LedgerAway as fault:  # what was kept before stays
                done = told.rows - len(batch)
                raise LedgerAway(
                    f"{done:,} of {total:,} rows are done and stay. At the next ones: {fault.message}",
                    remedy="When it is back, bring the same table again: it goes on, and no row comes twice.",
                ) from None

        def keep_batch() -> None:
            known = shop.book.old_book.known([r.digest for r in batch])
            new = [r for r in batch if r.digest not in known]
            told.known += len(batch) - len(new)
            told.taken += len(new)
            if dry_run:
                fresh = {r.serial for r in new} - unseen
                fresh -= shop.book.old_book.serials_there(list(fresh))
                unseen.update(fresh)
                told.pieces += len(fresh)
            elif new:
                made, job_count = shop.book.old_book.add(new, by=by)
                told.pieces, told.jobs = told.pieces + made, told.jobs + job_count
            batch.clear()
            if progress:
                progress(told.rows, total)

        for row in _read(reading):
            told.rows += 1
            if isinstance(row, Refused):
                refused.add(row)
            elif row.digest in lines:
                cells = tuple(row.cells.get(h, "") for h in reading.headers)
                refused.add(Refused(row.line, cells, f"the same as line {lines[row.digest]}"))
            else:
                lines[row.digest] = row.line
                batch.append(row)
            if len(batch) >= BATCH:
                keep()
                if stop():
                    told.stopped = True
                    break
        keep()
    told.refused = refused.count
    told.rejects = str(rejects) if refused.count else ""
    if not dry_run:
        remember(shop.book.folder, reading.headers, reading.layout)
    return told


def _read(reading: _Reading) -> Iterator[OldRow | Refused]:
    layout = reading.layout
    spelled: dict[str, str] = {}
    for line, row in reading.bodies():
        cells = {h: as_text(v) for h, v in row.items() if h and v not in (None, "")}
        try:
            got = {f: row.get(h) for f, h in layout.columns.items()}
            taken = _taken(got, layout, reading.today)
        except ValueError as fault:
            yield Refused(line, tuple(as_text(row.get(h)) for h in reading.headers), str(fault))
            continue
        serial = spelled.setdefault(plain(taken.serial), taken.serial)
        digest = hashlib.sha256(
            json.dumps(cells, sort_keys=True, ensure_ascii=False).encode()
        ).hexdigest()
        content = taken.kept() | {"file": reading.table.name, "line": line, "cells": cells}
        yield OldRow(
            digest,
            serial,
            taken.model,
            taken.customer,
            taken.invoice,
            taken.position,
            taken.date,
            content,
        )


@dataclass(frozen=True)
class _Taken:
    """What a row tells; a peak that is no number stands as it was written."""

    serial: str
    customer: str
    invoice: str
    model: str
    position: str
    operator: str
    rig: str
    supplier: str
    note: str
    date: str
    speed_rpm: float | None
    verdict: str
    first_g: float | None
    first_written: str
    last_g: float | None
    last_written: str

    def kept(self) -> dict[str, Any]:
        """Return what its entry holds beside the piece's serial and model."""
        return {
            k: v
            for k, v in asdict(self).items()
            if k not in ("serial", "model") and (v or not k.endswith("_written"))
        }


def _taken(got: dict[str, Cell], layout: Layout, today: Any) -> _Taken:
    """Return what a row tells; raises ValueError saying what cannot be read."""
    text = {name: as_text(got.get(name)) for name in TEXTS}
    for name, most in LONGEST.items():
        if len(text[name]) > most:
            raise ValueError(f"the {name} has more than {most} letters")
    if not text["serial"]:
        raise ValueError("no serial")
    customer, model = text.pop("customer"), text.pop("model")
    order: Order = layout.dates
    first, last = (
        _if_there(got, name, lambda c: as_peak(c, layout.peak_unit), (None, ""))
        for name in ("first_g", "last_g")
    )
    return _Taken(
        **text,
        customer=layout.customers.get(customer, customer),
        model=layout.models.get(model, model) or "unknown",
        date=_if_there(got, "date", lambda c: as_date(c, order, today=today), ""),
        speed_rpm=_if_there(got, "speed_rpm", as_speed, None),
        verdict=_if_there(got, "verdict", as_verdict, ""),
        first_g=first[0], first_written=first[1], last_g=last[0], last_written=last[1],
    )  # fmt: skip


def _if_there(got: dict[str, Cell], name: str, read: Callable[[Cell], Any], empty: Any) -> Any:
    cell = got.get(name)
    return empty if cell in (None, "", "-", "–") else read(cell)
