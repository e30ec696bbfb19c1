"""``heavyspot station``: a second building with a store of its own."""

from __future__ import annotations

from dataclasses import asdict
from pathlib import Path
from typing import TYPE_CHECKING, Annotated

import typer

from ..quantities.clock import utc_minute
from .common import By, Json, Settings, emit, open_workshop, progress_bar, say

if TYPE_CHECKING:
    from ..workshop.station.line import Line

station_app = typer.Typer(
    no_args_is_help=True, rich_markup_mode=None, help="A second building with a store of its own."
)
Name = Annotated[str, typer.Argument(help="Name of the station; it stands in its sheets' numbers.")]


@station_app.command("add")
@station_app.command("new", hidden=True)
def station_add(name: Name, by: By = "", json: Json = False) -> None:
    """At the main house: add a station, or give one a new key; the key is said only once."""
    from ..workshop.station.arrivals import add_station

    key = add_station(open_workshop(), name, by=by)
    if json:
        emit({"name": name, "key": key})
        return
    typer.echo(f"{name} may join with the key {key}")


@station_app.command("list")
def station_list(json: Json = False) -> None:
    """At the main house: list the stations."""
    from ..workshop.station.disagreements import known_stations

    rows = known_stations(open_workshop())
    if json:
        emit([{"name": r.name, "at": r.at, "by": r.by} for r in rows])
        return
    for r in rows:
        typer.echo(f"{r.name}, since {r.at[:10]}")


@station_app.command("end")
def station_end(name: Name, by: By = "", json: Json = False) -> None:
    """At the main house: end a station's key; what it sent stays."""
    from ..workshop.station.arrivals import end_station

    end_station(open_workshop(), name, by=by)
    say({"name": name, "ended": True}, f"The key of {name} has ended.", json)


@station_app.command("join")
def station_join(
    url: Annotated[str, typer.Argument(help="Address of the main house.")],
    key: Annotated[str, typer.Argument(help="As the main house said it.")],
    tls: Annotated[
        Path | None,
        typer.Option("--tls-certificate", help="PEM, when the main house signs its own."),
    ] = None,
    lan: Annotated[
        bool,
        typer.Option("--lan", help="The whole line is the shop's own net: http:// may be used."),
    ] = False,
    json: Json = False,
) -> None:
    """At the station: join a main house, with the data folder as the station's store."""
    from ..workshop.station.line import HttpLine, refuse_clear
    from ..workshop.station.station import join

    refuse_clear(url, own_net=lan)
    certificate = tls.read_text(encoding="utf-8") if tls else ""
    joined = join(Settings.data, HttpLine(url, key, certificate), url, key, certificate)
    words = f"This is now the station {joined.name} of {joined.main_name}."
    say({"name": joined.name, "main": joined.main_name}, words, json)
    if url.startswith("http://"):
        typer.echo(
            "Key and entries travel in the clear on that line: who listens has both.", err=json
        )


@station_app.command("exchange")
def station_exchange(json: Json = False) -> None:
    """At the station: hand on what is new, take what is new; the server does it by itself."""
    from ..workshop.station.station import exchange

    shop = open_workshop()
    with progress_bar(json) as show:
        told = exchange(shop, line(), show)
    if json:
        emit(asdict(told))
        return
    typer.echo(
        f"{told.sent:,} entries and {told.files:,} recordings handed on, {told.got:,} entries taken."
    )
    if told.held:
        typer.echo(f"{told.held:,} of them wait there for a person to decide.")


@station_app.command("status")
def station_status(json: Json = False) -> None:
    """At the station: what waits for the line."""
    from ..workshop.station.station import standing

    now = standing(open_workshop())
    if json:
        emit(asdict(now) if now else None)
        return
    if now is None:
        typer.echo("This is no station.")
        return
    last = utc_minute(now.last) + " UTC" if now.last else "never"
    typer.echo(
        f"Station {now.name} of {now.main_name}: {now.waiting:,} entries wait; last exchange {last}."
    )
    for words in now.words():
        typer.echo(words)


@station_app.command("heads")
def station_heads(json: Json = False) -> None:
    """At the station: the main house's signed heads that are kept here, for verify --head there."""
    from ..workshop.heads import heads_of
    from ..workshop.station.station import joined_of

    shop, joined = open_workshop(), joined_of(Settings.data)
    found = [*reversed(heads_of(shop, joined.main) if joined else [])]
    if json:
        emit([asdict(one) for one in found])
        return
    for one in found:
        typer.echo(one.as_text())


@station_app.command("wipe")
def station_wipe(json: Json = False) -> None:
    """At the station: empty it, after the main house has signed that everything arrived."""
    from ..workshop.station.station import wipe

    proof = wipe(Settings.data, line())
    say({"proof": str(proof)}, f"Emptied; the proof of arrival is kept in {proof}.", json)


def line() -> Line:
    """Return the line to the main house; raises `LedgerFault` when this is no station."""
    from ..quantities.errors import LedgerFault
    from ..workshop.station.station import joined_of, line_of

    joined = joined_of(Settings.data)
    if joined is None:
        raise LedgerFault(
            "This is no station.", remedy="heavyspot station join URL KEY makes it one."
        )
    return line_of(joined)
