"""``heavyspot backup`` and ``heavyspot restore``."""

from __future__ import annotations

from dataclasses import asdict
from pathlib import Path
from typing import TYPE_CHECKING, Annotated

import typer

from .common import Json, Settings, emit, open_workshop, progress_bar

if TYPE_CHECKING:
    from ..workshop.keep.backup import BackupTold


def backup(
    to: Annotated[Path, typer.Argument(help="Folder of the backup, on another disk.")],
    json: Json = False,
) -> None:
    """Back the shop up while it works, and prove the backup by reading it back."""
    from ..workshop.keep.backup import back_up

    with progress_bar(json) as show:
        told = back_up(open_workshop(), to, progress=show)
    _say(told, json, "Backed up to")


def restore(
    source: Annotated[Path, typer.Argument(help="Folder of the backup.")],
    json: Json = False,
) -> None:
    """Make the data folder from a backup; --data names it, and must hold no ledger yet."""
    from ..workshop.keep.backup import restore as bring_back

    with progress_bar(json) as show:
        told = bring_back(source, Settings.data, progress=show)
    _say(told, json, "Restored into")


def move(
    source: Annotated[str, typer.Argument(help="Data folder, or the database's URL.")],
    target: Annotated[str, typer.Argument(help="Data folder, or the database's URL; empty.")],
    json: Json = False,
) -> None:
    """Copy a ledger to another database, SQLite or PostgreSQL, and prove it equal; recordings stay."""
    from ..workshop.keep.moving import move_ledger

    def url(name: str) -> str:
        if "://" in name:
            return name
        Path(name).mkdir(parents=True, exist_ok=True)
        return f"sqlite:///{Path(name) / 'ledger.sqlite'}"

    with progress_bar(json) as show:
        entries, head = move_ledger(url(source), url(target), progress=show)
    if json:
        emit({"entries": entries, "head": head})
        return
    typer.echo(f"Moved {entries:,} entries, read back and equal. Newest link {head}.")


def _say(told: BackupTold, json: bool, words: str) -> None:
    if json:
        emit(asdict(told))
        return
    typer.echo(
        f"{words} {told.folder}: {told.entries:,} entries, {told.recordings:,} recordings "
        f"({told.copied:,} new), read back and whole. Newest link {told.head}."
    )
