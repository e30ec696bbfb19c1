"""``heavyspot model``: kinds of cartridge."""

from __future__ import annotations

from pathlib import Path
from typing import TYPE_CHECKING, Annotated

import typer

from .common import By, Json, emit, kept, open_workshop, say, say_names

if TYPE_CHECKING:
    from ..workshop.model.card import ResponseCard

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

    say_names(model_names(open_workshop()), json)


@model_app.command("card")
def model_card(
    model: Annotated[str, typer.Argument(help="Model whose units taught.")],
    rig: Annotated[str, typer.Option(help="Rig whose units; that of most when left out.")] = "",
    output: Annotated[
        Path | None,
        typer.Option("-o", "--output", help="JSON file to write; standard output when left out."),
    ] = None,
    json: Json = False,
) -> None:
    """Write a model's response card: what its units taught, for another shop to begin with."""
    from ..quantities.durable import write_text
    from ..workshop.cartridge.card_units import response_card

    card = response_card(open_workshop(), model, rig=rig)
    text = card.model_dump_json() + "\n"
    if output is None:
        typer.echo(text, nl=False)
        return
    write_text(output, text)
    words = (
        f"{model}: response card of {card.units} units, signed {card.fingerprint()[:16]}: {output}"
    )
    say({**_card_json(model, card), "file": str(output)}, words, json)


@model_app.command("take-card")
def model_take_card(
    file: Annotated[Path, typer.Argument(help="Response card of another shop.")],
    as_model: Annotated[str, typer.Option("--as", help="Model here that it is for.")] = "",
    by: By = "",
    json: Json = False,
) -> None:
    """Begin a model's first units with another shop's response card."""
    from ..workshop.model.card import take_card

    card = take_card(open_workshop(), kept(file).read_bytes(), as_model=as_model, by=by)
    if json:
        emit(_card_json(as_model or card.model, card))
        return
    typer.echo(
        f"{as_model or card.model}: begins with {card.units} units of {card.shop or 'another shop'} "
        f"(signed {card.fingerprint()[:16]}, {card.made_at[:10]}). Compare those figures with its maker."
    )


@model_app.command("cards")
def model_cards(json: Json = False) -> None:
    """List the response cards taken."""
    from ..workshop.model.card import cards

    there = cards(open_workshop())
    if json:
        emit([_card_json(name, c) for name, c in there.items()])
        return
    for name, c in there.items():
        typer.echo(
            f"{name}: {c.units} units of {c.shop}, signed {c.fingerprint()[:16]}, {c.made_at[:10]}"
        )


@model_app.command("drop-card")
def model_drop_card(
    model: Annotated[str, typer.Argument(help="Model.")], by: By = "", json: Json = False
) -> None:
    """Lean on a model's response card no more."""
    from ..workshop.model.card import drop_card

    drop_card(open_workshop(), model, by=by)
    say({"model": model}, f"{model}: its card is leant on no more.", json)


def _card_json(model: str, card: ResponseCard) -> dict[str, object]:
    return {
        "model": model, "units": card.units, "shop": card.shop, "made_at": card.made_at,
        "fingerprint": card.fingerprint(), "planes": [p.name for p in card.planes],
    }  # fmt: skip
