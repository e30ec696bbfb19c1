"""``heavyspot hook``: web hooks and what came of their deliveries."""

from __future__ import annotations

from dataclasses import asdict
from typing import Annotated

import typer

from .common import By, Json, emit, open_workshop, say

hook_app = typer.Typer(
    no_args_is_help=True, rich_markup_mode=None, help="Web hooks: other programs told of verdicts."
)
Id = Annotated[str, typer.Argument(help="Identifier of the hook.")]


@hook_app.command("add")
@hook_app.command("new", hidden=True)
def hook_add(
    url: Annotated[str, typer.Argument(help="Where to: https://..., or this computer itself.")],
    event: Annotated[
        list[str] | None, typer.Option("--event", help="verdict, finding or overruled; again.")
    ] = None,
    by: By = "",
    json: Json = False,
) -> None:
    """Tell an address of what is written from now on; the secret is said only once."""
    from ..workshop.hooks.registry import EVENTS, add_hook

    hook = add_hook(open_workshop(), url, event or EVENTS, by=by)
    if json:
        emit({"id": hook.id, "url": hook.url, "events": list(hook.events), "secret": hook.secret})
        return
    typer.echo(f"{hook.id}  {hook.url}  {' '.join(hook.events)}")
    typer.echo(f"Its secret, said only now: {hook.secret}")


@hook_app.command("list")
def hook_list(json: Json = False) -> None:
    """List the hooks, with how many deliveries wait."""
    from ..workshop.hooks.waiting import hook_states

    found = hook_states(open_workshop())
    if json:
        emit([asdict(h) for h in found])
        return
    for h in found:
        told = f"paused: {h.paused}" if h.paused else f"{h.waiting} wait"
        typer.echo(f"{h.id}  {h.url}  {told}  {h.fault}".rstrip())


@hook_app.command("deliveries")
def hook_deliveries(id_: Id, json: Json = False) -> None:
    """What was told to a hook, or waits, and what came of it; newest first."""
    from ..workshop.hooks.waiting import deliveries_of

    found = deliveries_of(open_workshop(), id_)
    if json:
        emit([asdict(d) for d in found])
        return
    for d in found:
        when = f", again {d.next_at}" if d.state == "waits" and d.tries else ""
        typer.echo(f"{d.id}  {d.event:<9}  {d.state}, {d.tries} tries{when}  {d.answer}".rstrip())


@hook_app.command("again")
def hook_again(
    id_: Id,
    delivery: Annotated[str, typer.Argument(help="Identifier of the delivery.")],
    json: Json = False,
) -> None:
    """Send a delivery once more, under its own id; the open program sends it."""
    from ..workshop.hooks.waiting import again

    again(open_workshop(), id_, delivery)
    say({"hook": id_, "delivery": delivery}, f"{delivery} goes out anew.", json)


@hook_app.command("test")
def hook_test(id_: Id, json: Json = False) -> None:
    """Send a word that tells nothing; the open program sends it."""
    from ..workshop.hooks.waiting import queue_test

    made = queue_test(open_workshop(), id_).id
    say({"hook": id_, "delivery": made}, f"{made} goes out.", json)


@hook_app.command("secret")
def hook_secret(id_: Id, json: Json = False) -> None:
    """Give a hook a new secret, said only once, and let it go on if it was paused."""
    from ..workshop.hooks.registry import renew_secret

    secret = renew_secret(open_workshop(), id_).secret
    say({"hook": id_, "secret": secret}, f"Its secret, said only now: {secret}", json)


@hook_app.command("end")
def hook_end(id_: Id, json: Json = False) -> None:
    """End a hook; what waits for it is not told any more."""
    from ..workshop.hooks.registry import end_hook

    end_hook(open_workshop(), id_)
    say({"hook": id_, "ended": True}, "Ended.", json)
