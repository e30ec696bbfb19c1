"""``heavyspot model``: kinds of cartridge."""

from __future__ import annotations

from pathlib import Path
from typing import Annotated

import typer

from .common import By, Json, emit, open_workshop

model_app = typer.Typer(
    no_args_is_help=True, rich_markup_mode=None, help="Models: kinds of cartridge."
)


@model_app.command("add")
@model_app.command("new", hidden=True)
def model_add(
    file: Annotated[Path, typer.Argument(help="Model file (TOML).")],
    by: By = "",
    json: Json = False,
) -> None:
    """Add a model, or a new version of one."""
    from ..workshop.model.models import add_model

    model = add_model(open_workshop(), file, by=by)
    if json:
        emit({"model": model.name, "planes": [p.name for p in model.plane]})
        return
    from .cartridge.show import show_model

    show_model(model)


@model_app.command("list")
def model_list(json: Json = False) -> None:
    """List the models."""
    from ..workshop.model.models import model_names

    names = model_names(open_workshop())
    if json:
        emit(names)
        return
    for name in names:
        typer.echo(name)
