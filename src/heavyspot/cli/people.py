"""``heavyspot user``: who may log in."""

from __future__ import annotations

import os
from typing import TYPE_CHECKING, Annotated

import typer

from .common import By, Json, emit, open_workshop

if TYPE_CHECKING:
    from ..workshop.people import People

user_app = typer.Typer(no_args_is_help=True, rich_markup_mode=None, help="Users and their roles.")
Name = Annotated[str, typer.Argument(help="Name of the user.")]


def _people() -> People:
    from ..workshop.people import people_of

    return people_of(open_workshop())


@user_app.command("add")
def user_add(
    name: Name,
    role: Annotated[
        str, typer.Option("--role", help="technician, inspector or owner.")
    ] = "technician",
    by: By = "",
) -> None:
    """Add a user, or give one a new password; HEAVYSPOT_PASSWORD spares the question."""
    password = os.environ.get("HEAVYSPOT_PASSWORD") or typer.prompt(
        "Password", hide_input=True, confirmation_prompt=True
    )
    _people().set_user(name, role, password, by=by)
    typer.echo(f"{name} may log in as {role}.")


@user_app.command("list")
def user_list(json: Json = False) -> None:
    """List the users."""
    users = _people().users()
    if json:
        emit([{"name": u.name, "role": u.role, "at": u.at} for u in users])
        return
    for u in users:
        typer.echo(f"{u.name:<24} {u.role:<12} since {u.at[:10]}")


@user_app.command("end")
def user_end(name: Name, by: By = "") -> None:
    """End an account; its name stays on what it did."""
    _people().end_user(name, by=by)
    typer.echo(f"{name} may no longer log in.")
