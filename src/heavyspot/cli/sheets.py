"""``heavyspot reissue``: the sheets of many pieces in one go."""

from __future__ import annotations

from dataclasses import asdict
from pathlib import Path
from typing import Annotated

import typer

from .common import By, Json, Language, Why, emit, open_workshop, progress_bar


def reissue(
    find: Annotated[str, typer.Argument(help="Words and filters, as in the search box.")],
    folder: Annotated[Path, typer.Option("-o", "--to", help="Folder for the PDFs.")],
    most: Annotated[int, typer.Option(help="At most so many pieces.")] = 5000,
    language: Language = "",
    why: Why = "",
    by: By = "",
    json: Json = False,
) -> None:
    """Issue the sheets of all pieces that are found; stopped, the same command goes on."""
    from ..workshop.job.lookup import search_pieces
    from ..workshop.sheets.reissue import reissue as issue_many

    shop = open_workshop()
    serials = [p.serial for p in search_pieces(shop, find, most=most).rows if p.number]
    with progress_bar(json) as show:
        told = issue_many(
            shop, serials, folder, by=by, language=language, why=why,
            progress=lambda done, total: show("sheets", done, total),
        )  # fmt: skip
    if json:
        emit(asdict(told))
        return
    for line in told.done:
        typer.echo(line)
