"""``heavyspot backup``, ``restore``, ``move`` and ``upgrade``."""

from __future__ import annotations

from pathlib import Path
from typing import TYPE_CHECKING, Annotated

import typer

from ..common import Json, Settings, emit, open_workshop, progress_bar

if TYPE_CHECKING:
    from ...workshop.keep.backup import BackupTold


def backup(
    to: Annotated[Path, typer.Argument(help="Folder of the backup, on another disk.")],
    json: Json = False,
) -> None:
    """Back the shop up while it works, and prove it by reading it back; 1 when recordings are not whole."""
    from ...workshop.keep.backup import back_up

    with progress_bar(json) as show:
        told = back_up(open_workshop(), to, progress=show)
    _say(told, json, "Backed up to")


def restore(
    source: Annotated[Path, typer.Argument(help="Folder of the backup.")],
    json: Json = False,
) -> None:
    """Make the data folder from a backup; --data names it, and must hold no ledger yet; 1 as for backup."""
    from ...workshop.keep.backup import restore as bring_back

    with progress_bar(json) as show:
        told = bring_back(source, Settings.data, progress=show)
    _say(told, json, "Restored into")


def move(
    source: Annotated[str, typer.Argument(help="Data folder, or the database's URL.")],
    target: Annotated[str, typer.Argument(help="Data folder, or the database's URL; empty.")],
    json: Json = False,
) -> None:
    """Copy a ledger to another database, SQLite or PostgreSQL, and prove it equal; recordings stay."""
    from ...workshop.keep.moving import move_ledger

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


def private(json: Json = False) -> None:
    """Let nobody else on this computer read the ledger and the keys in the data folder."""
    from ...workshop.private import make_private

    closed = make_private(Settings.data)
    if json:
        emit({"closed": closed})
    else:
        typer.echo("Closed: " + ", ".join(closed) if closed else "Nobody else may read them.")


def upgrade(json: Json = False) -> None:
    """Bring a ledger of an earlier program up to date: copied first, all or nothing, proved by its links."""
    told = say_upgraded(json)
    if json:
        emit({"upgraded": told})
    elif not told:
        typer.echo("Nothing to do: the ledger is this program's.")


def say_upgraded(quiet: bool) -> list[dict[str, object]]:
    """Upgrade the data folder, and say what was done."""
    from ...workshop.keep.upgrading import upgrade as bring_up

    with progress_bar(quiet) as show:
        done = bring_up(Settings.data, progress=show)
    for folder, one in done:
        if quiet:
            continue
        typer.echo(
            f"{folder}: from schema {one.from_schema} to {one.to_schema}. {one.entries:,} entries, each as "
            f"it was; newest link {one.head}.\nAs it was before it lies in {one.copy}, read back: the program "
            "of before opens it."
        )
        if one.faults:
            typer.echo(
                f"{len(one.faults):,} entries were not as they were written, before and after: "
                "heavyspot verify names them."
            )
    return [
        {
            "folder": str(folder), "from": one.from_schema, "to": one.to_schema, "entries": one.entries,
            "head": one.head, "copy": one.copy, "faults": len(one.faults),
        }
        for folder, one in done
    ]  # fmt: skip


def _say(told: BackupTold, json: bool, words: str) -> None:
    if json:
        emit(told.as_json())
    else:
        typer.echo(
            f"{words} {told.folder}: {told.entries:,} entries, {told.recordings:,} recordings "
            f"({told.copied:,} new), read back and whole. Newest link {told.head}."
        )
        if told.branch:
            typer.echo(
                f"It goes on as branch {told.branch}; new sheets carry that in their number."
            )
        for note in told.notes:
            typer.echo(note)
        for damaged in told.damaged:
            typer.echo(f"Not whole: {damaged.words()}")
    if told.damaged:
        raise typer.Exit(1)
