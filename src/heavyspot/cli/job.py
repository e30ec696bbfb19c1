"""``heavyspot piece``: single cartridges and their jobs."""

from __future__ import annotations

from typing import Annotated

import typer

from .common import By, Json, emit, open_workshop

piece_app = typer.Typer(
    no_args_is_help=True, rich_markup_mode=None, help="Pieces: single cartridges."
)


@piece_app.command("new")
@piece_app.command("add", hidden=True)
def piece_new(
    serial: Annotated[str, typer.Option("--serial", help="Serial of the piece.")],
    model: Annotated[str, typer.Option("--model", help="Name of its model.")],
    customer: Annotated[str, typer.Option("--customer", help="Whose it is.")] = "",
    invoice: Annotated[str, typer.Option("--invoice", help="Invoice number of the job.")] = "",
    position: Annotated[str, typer.Option("--position", help="front, rear, left or right.")] = "",
    by: By = "",
    json: Json = False,
) -> None:
    """Add a piece to a job."""
    from ..workshop.job.pieces import add_piece

    piece_id = add_piece(
        open_workshop(), serial, model, customer=customer, invoice=invoice, position=position, by=by
    )
    if json:
        emit({"piece": piece_id, "serial": serial, "model": model})
        return
    typer.echo(f"Piece {serial} ({model}) added.")


@piece_app.command("list")
def piece_list(json: Json = False) -> None:
    """List all pieces with their last verdict."""
    from ..workshop.job.lookup import piece_json
    from ..workshop.job.pieces import all_pieces

    rows = all_pieces(open_workshop())
    if json:
        emit([piece_json(r) for r in rows])
        return
    from .cartridge.show import show_pieces

    show_pieces(rows)
