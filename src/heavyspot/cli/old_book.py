"""``heavyspot bring``: the old book, from a table of any layout."""

from __future__ import annotations

from dataclasses import asdict
from pathlib import Path
from typing import TYPE_CHECKING, Annotated

import typer

from .common import By, Json, emit, named, open_workshop, progress_bar

if TYPE_CHECKING:
    from ..workshop.old_book import bring as old

SHOWN = ("date", "customer", "invoice", "speed_rpm", "first_g", "last_g", "verdict")


def bring(
    file: Annotated[Path, typer.Argument(help="CSV or XLSX; one line a unit or a run.")],
    sheet: Annotated[str, typer.Option(help="Sheet of a workbook; its first when not given.")] = "",
    column: Annotated[
        list[str] | None, typer.Option(help="FIELD=HEADER; FIELD= leaves a guessed one out.")
    ] = None,
    dates: Annotated[str, typer.Option(help="Order of dates: dmy, mdy or ymd.")] = "",
    same: Annotated[
        list[str] | None, typer.Option(help='Customers that are one: "SPELLING=NAME".')
    ] = None,
    peaks_in: Annotated[str, typer.Option(help="Unit of the peaks: g or m/s2.")] = "",
    layout: Annotated[Path | None, typer.Option(help="TOML file that says all that.")] = None,
    look: Annotated[bool, typer.Option("--look", help="Only show how it would be read.")] = False,
    dry_run: Annotated[bool, typer.Option("--dry-run", help="Count, keep nothing.")] = False,
    rejects: Annotated[
        Path | None, typer.Option(help="File for rows not taken; FILE.rejects.csv by default.")
    ] = None,
    by: By = "",
    json: Json = False,
) -> None:
    """Bring the old book in: look first, then take every row once; trying again adds nothing twice."""
    from ..sources.loose_table import open_table
    from ..workshop.old_book import bring as old
    from ..workshop.old_book.layout import layout_of, load_layout

    shop, table = open_workshop(), open_table(file, sheet=sheet)
    base = load_layout(layout) if layout else None
    found = base or old.open_reading(shop, table).layout
    columns = {k: v for k, v in (found.columns | dict(map(named, column or ()))).items() if v}
    asked: dict[str, object] = {
        "dates": dates,
        "peak_unit": peaks_in,
        "columns": columns if column else None,
        "customers": found.customers | dict(map(named, same)) if same else None,
    }
    said = {field: value for field, value in asked.items() if value is not None and value != ""}
    if said or base:
        base = layout_of(found.model_dump() | said)
    if look:
        _show(old.preview(shop, table, base), json)
        return
    to = rejects or file.with_name(file.name + ".rejects.csv")
    with progress_bar(json) as bar:
        told = old.bring_in(
            shop, table, base, rejects=to, by=by, dry_run=dry_run,
            progress=lambda done, total: bar("rows", done, total),
        )  # fmt: skip
    if json:
        emit(asdict(told))
        return
    words = "Would take" if dry_run else "Took"
    typer.echo(
        f"{words} {told.taken:,} of {told.rows:,} rows: {told.pieces:,} new pieces"
        + (f", {told.jobs:,} new jobs" if not dry_run else "")
        + f"; {told.known:,} were there already."
    )
    if told.refused:
        typer.echo(
            f"{told.refused:,} rows not taken; they stand, with the reason, in {told.rejects}."
        )


def _show(seen: old.Preview, json: bool) -> None:
    if json:
        emit(asdict(seen) | {"layout": seen.layout.model_dump()})
        return
    from rich.box import SIMPLE
    from rich.console import Console
    from rich.table import Table

    console = Console()
    told = "as the last time" if seen.remembered else "guessed from the headers"
    console.print(f"{seen.rows:,} rows; columns {told}:")
    for field, header in seen.layout.columns.items():
        console.print(f"  {field:10} {header}", highlight=False)
    unused = [h for h in seen.headers if h and h not in seen.layout.columns.values()]
    if unused:
        console.print(f"  kept as written: {', '.join(unused)}", highlight=False)
    grid = Table("serial", "model", *(k.replace("_", " ") for k in SHOWN), box=SIMPLE)
    for row in seen.first:
        grid.add_row(
            row["serial"], row["model"], *("" if row[k] is None else str(row[k]) for k in SHOWN)
        )
    console.print(grid)
    for spelling, name in list(seen.layout.customers.items())[:20]:
        console.print(f'Taken as one customer: "{spelling}" is "{name}".', highlight=False)
    for a, b in seen.alike[:20]:
        console.print(f'One customer? --same "{a}={b}"', highlight=False)
    if seen.new_models:
        console.print(
            f"Models the ledger does not know yet: {', '.join(seen.new_models)}.", highlight=False
        )
    for r in seen.refused:
        console.print(f"Line {r.line} cannot be taken: {r.reason}.", highlight=False)
    if seen.refused_count > len(seen.refused):
        console.print(f"... and {seen.refused_count - len(seen.refused):,} more.", highlight=False)
    for question in seen.questions:
        console.print(f"[bold]To be said first:[/] {question}", highlight=False)
