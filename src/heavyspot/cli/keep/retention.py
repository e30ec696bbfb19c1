"""``heavyspot recordings``: where raw recordings lie, and how long they are kept."""

from __future__ import annotations

from dataclasses import asdict
from typing import Annotated

import typer

from ..common import By, Json, emit, open_workshop, progress_bar, say_names

recordings_app = typer.Typer(
    no_args_is_help=True,
    rich_markup_mode=None,
    help="Raw recordings: where they lie, how long they stay.",
)


@recordings_app.command("list")
def recordings_list(json: Json = False) -> None:
    """List the recordings and papers that wait here to be handed over; none without a location."""
    from ...workshop.keep.retention import waiting_recordings

    say_names(waiting_recordings(open_workshop()), json)


@recordings_app.command("hand-over")
def hand_over(json: Json = False) -> None:
    """Hand recordings and papers over to the location in shop.toml, read back; the server does it by itself."""
    from ...workshop.keep.retention import hand_recordings_over

    with progress_bar(json) as show:
        went, to = hand_recordings_over(
            open_workshop(), progress=lambda done, total: show("files", done, total)
        )
    if json:
        emit({"files": went, "to": to})
        return
    typer.echo(f"{went:,} files handed over to {to or 'nowhere: no location is set'}.")


@recordings_app.command("retire")
def retire(
    days: Annotated[
        int | None, typer.Option(help="Older than so many days; the shop's rule when not given.")
    ] = None,
    dry_run: Annotated[bool, typer.Option("--dry-run", help="Count, remove nothing.")] = False,
    by: By = "",
    json: Json = False,
) -> None:
    """Remove raw recordings by the shop's rule; curves, verdicts and sheets stay for ever."""
    from ...workshop.keep.retention import retire_recordings

    with progress_bar(json) as show:
        told = retire_recordings(
            open_workshop(), days=days, by=by, dry_run=dry_run,
            progress=lambda done, total: show("recordings", done, total),
        )  # fmt: skip
    if json:
        emit(asdict(told))
        return
    if dry_run:
        typer.echo(f"{told.recordings:,} recordings from before {told.before[:10]} would go.")
    else:
        typer.echo(f"{told.recordings:,} recordings removed, {told.bytes / 1e6:,.0f} MB free.")
