"""``heavyspot user``: who may log in."""

from __future__ import annotations

import os
from typing import TYPE_CHECKING, Annotated

import typer

from .common import By, Json, emit, open_workshop, say

if TYPE_CHECKING:
    from ..workshop.people import People

user_app = typer.Typer(no_args_is_help=True, rich_markup_mode=None, help="Users and their roles.")
Name = Annotated[str, typer.Argument(help="Name of the user.")]


def _people() -> People:
    from ..workshop.people import people_of

    return people_of(open_workshop())


@user_app.command("add")
@user_app.command("new", hidden=True)
def user_add(
    name: Name,
    role: Annotated[
        str, typer.Option("--role", help="technician, inspector or owner.")
    ] = "technician",
    by: By = "",
    json: Json = False,
) -> None:
    """Add a user, or give one a new password; HEAVYSPOT_PASSWORD spares the question."""
    password = os.environ.get("HEAVYSPOT_PASSWORD") or typer.prompt(
        "Password", hide_input=True, confirmation_prompt=True
    )
    _people().set_user(name, role, password, by=by)
    say({"name": name, "role": role}, f"{name} may log in as {role}.", json)


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
def user_end(name: Name, by: By = "", json: Json = False) -> None:
    """End an account; its name stays on what it did."""
    _people().end_user(name, by=by)
    say({"name": name, "ended": True}, f"{name} may no longer log in.", json)


@user_app.command("key")
def user_key(
    name: Name,
    label: Annotated[str, typer.Option("--for", help="What it is for.")],
    scope: Annotated[
        str, typer.Option("--may", help="read, write, or metrics for a monitor.")
    ] = "read",
    days: Annotated[int, typer.Option("--days", help="Until it ends, 1 to 366.")] = 90,
    json: Json = False,
) -> None:
    """Make a key with which a program acts for a user; it is said only once."""
    key = _people().make_key_of(name, label, scope, days)
    if json:
        emit({"name": name, "key": key})
        return
    typer.echo(f"Said once, and never again: {key}")


@user_app.command("keys")
def user_keys(json: Json = False) -> None:
    """List the keys that were not ended."""
    rows = _people().keys()
    if json:
        emit(
            [
                {"id": k.id, "name": k.name, "label": k.label, "scope": k.scope, "until": k.until}
                for k in rows
            ]
        )
        return
    for k in rows:
        typer.echo(f"{k.id}  {k.name:<20} {k.scope:<8} until {k.until[:10]}  {k.label}")


@user_app.command("end-key")
def user_end_key(
    id_: Annotated[str, typer.Argument(metavar="KEY-ID", help="As keys lists it.")],
    json: Json = False,
) -> None:
    """End a key."""
    from ..workshop.people import LOCAL

    _people().end_key(id_, LOCAL)
    say({"id": id_, "ended": True}, "The key has ended.", json)
