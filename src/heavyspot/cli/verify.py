"""``heavyspot verify``: is the ledger whole, is a sheet genuine?"""

from __future__ import annotations

from pathlib import Path
from typing import Annotated

import typer

from ..quantities.errors import UnreadableFile
from .common import Json, Settings, emit, open_workshop


def verify(
    sheet: Annotated[
        Path | None, typer.Argument(help="A sheet (PDF); the whole ledger when not given.")
    ] = None,
    fingerprint: Annotated[
        str,
        typer.Option(
            "--fingerprint", help="SHA-256 of the shop's certificate, as the shop tells it."
        ),
    ] = "",
    recordings: Annotated[
        bool, typer.Option("--recordings", help="Read every recording too, and compare its digest.")
    ] = False,
    json: Json = False,
) -> None:
    """Tell whether the ledger is as it was written, or whether a sheet is genuine; 1 when not."""
    told, lines = _sheet(sheet, fingerprint) if sheet else _ledger(recordings, json)
    if json:
        emit(told)
    else:
        typer.echo("\n".join(lines))
    if not told["good"]:
        raise typer.Exit(1)


def _sheet(path: Path, fingerprint: str) -> tuple[dict[str, object], list[str]]:
    from ..workshop.sheets.verify import verify_sheet

    try:
        pdf = path.read_bytes()
    except OSError as fault:
        raise UnreadableFile(
            f"{path} cannot be read ({fault.strerror}).", remedy="Check the name of the file."
        ) from None
    # on another computer there is no ledger, and none must be made
    here = any((Settings.data / name).exists() for name in ("ledger.sqlite", "shop.toml"))
    shop = open_workshop() if here else None
    found = verify_sheet(pdf, shop=shop, known_fingerprint=fingerprint)
    told = {
        "answer": found.answer,
        "text": found.text,
        "good": found.answer in ("genuine", "signed"),
        "signed_by": found.check.signed_by,
        "signed_at": found.check.signed_at,
        "fingerprint": found.check.fingerprint,
        "sheet": {k: found.check.data.get(k) for k in ("number", "serial", "verdict", "shop")},
    }
    lines = [f"{found.answer.upper()}: {found.text}"]
    if found.check.fingerprint:
        lines.append(f"  certificate {found.check.fingerprint}")
    return told, lines


def _ledger(recordings: bool, json: bool) -> tuple[dict[str, object], list[str]]:
    from rich.progress import Progress

    from ..workshop.keep.ledger_state import Broken, check_ledger, newest_link
    from ..workshop.keep.retention import DamagedFile, check_recordings

    shop = open_workshop()
    with Progress(transient=True, disable=json) as bar:
        task = bar.add_task("reading the chain", total=None)

        def show(done: int, total: int) -> None:
            bar.update(task, completed=done, total=total)

        broken: list[Broken | DamagedFile] = list(check_ledger(shop, show))
        if recordings:
            bar.update(task, description="reading recordings", completed=0)
            broken += check_recordings(shop, show)
    number, head = newest_link(shop)
    lines = [f"✗ {b.words()}" for b in broken] or [
        f"The ledger is as it was written: {number:,} entries, newest link {head}."
    ]
    told = [
        {"kind": b.kind, "table": b.table, "entry": b.entry_id, "link": b.number, "text": b.words()}
        for b in broken
    ]
    return {"good": not broken, "entries": number, "head": head, "broken": told}, lines
