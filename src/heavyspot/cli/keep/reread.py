"""``heavyspot reread``: archived recordings read anew, and which pieces to call back."""

from __future__ import annotations

from dataclasses import asdict
from pathlib import Path
from typing import TYPE_CHECKING, Annotated

import typer

from ...quantities.clock import utc_minute
from ...quantities.durable import write_bytes
from ..common import By, Json, emit, open_workshop, progress_bar

if TYPE_CHECKING:
    from ...workshop.shop import Workshop

reread_app = typer.Typer(
    no_args_is_help=True,
    rich_markup_mode=None,
    help="Archived recordings read anew; results lie beside.",
)
Id = Annotated[str, typer.Argument(help="As begin said it.")]
Workers = Annotated[int, typer.Option(help="Processes; as many as cores when 0.")]
Scheduler = Annotated[str, typer.Option(help="Address of a Dask scheduler; its workers do it.")]


@reread_app.command("begin")
def begin(
    gain: Annotated[
        float, typer.Option(help="Multiply vibration by: the sensitivity used over the true one.")
    ] = 1.0,
    limit: Annotated[float | None, typer.Option(help="Another limit, g.")] = None,
    rig: Annotated[str, typer.Option(help="Only runs of this rig.")] = "",
    model: Annotated[str, typer.Option(help="Only pieces of this model.")] = "",
    since: Annotated[
        str, typer.Option(help="Only runs from this day on: the last good check.")
    ] = "",
    until: Annotated[str, typer.Option(help="Only runs up to this day.")] = "",
    workers: Workers = 0,
    scheduler: Scheduler = "",
    by: By = "",
    json: Json = False,
) -> None:
    """Read a selection anew; interrupted, go on with: heavyspot reread on ID."""
    from ...workshop.keep.reread import Settings, begin_reread

    shop = open_workshop()
    made = begin_reread(shop, Settings(gain, limit, rig, model, since, until), by=by)
    if not json:
        typer.echo(f"Reread {made}")
    _go(shop, made, workers, scheduler, json)


@reread_app.command("on")
def on(reread: Id, workers: Workers = 0, scheduler: Scheduler = "", json: Json = False) -> None:
    """Go on with a reread that was stopped or cut off."""
    _go(open_workshop(), reread, workers, scheduler, json)


@reread_app.command("list")
def list_(json: Json = False) -> None:
    """List the rereads, newest first, and how far each is."""
    from ...workshop.keep.reread import newest_rereads

    rows = newest_rereads(open_workshop(), most=50)
    if json:
        emit([r.as_json() for r in rows])
        return
    for r in rows:
        typer.echo(f"{r.id}  {utc_minute(r.at)}  {r.done:,} read  {r.settings.words()}")


@reread_app.command("call-back")
def call_back(
    reread: Id,
    csv: Annotated[Path | None, typer.Option(help="Write the list as CSV.")] = None,
    json: Json = False,
) -> None:
    """List the pieces that left with a pass which no longer stands."""
    from ...workshop.keep.reread import call_back as pieces

    rows = pieces(open_workshop(), reread)
    if json:
        emit([r.as_json() for r in rows])
        return
    if csv:
        from ...workshop.rows_text import rows_csv

        write_bytes(csv, rows_csv([r.as_json() for r in rows], COLUMNS))
    for r in rows:
        now = "open" if r.result.worst_ratio is None else f"{r.result.worst_ratio:.2f}"
        typer.echo(
            f"{r.result.serial}  {r.result.customer}  {r.result.was_ratio:.2f} then, {now} now of its limit"
            f"  {'sheet ' + r.sheet if r.sheet else 'no sheet'}"
        )
    typer.echo(f"{len(rows):,} pieces to call back.")


COLUMNS = (
    "serial", "customer", "invoice", "number", "at", "rig", "was", "was_ratio", "verdict", "worst_ratio", "sheet",
)  # fmt: skip


def _go(shop: Workshop, made: str, workers: int, scheduler: str, json: bool) -> None:
    from ...workshop.keep.reread import go_on

    with progress_bar(json) as show:
        told = go_on(
            shop, made, workers=workers, scheduler=scheduler,
            progress=lambda done, total: show("recordings", done, total),
        )  # fmt: skip
    if json:
        emit(asdict(told))
        return
    typer.echo(
        f"{told.done:,} of {told.total:,} recordings read anew, {told.unreadable:,} unreadable."
    )
    typer.echo(f"Which pieces: heavyspot reread call-back {made}")
