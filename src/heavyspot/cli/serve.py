"""``heavyspot serve``: the workshop in the browser."""

from __future__ import annotations

from pathlib import Path
from typing import Annotated

import typer

from .common import Settings, progress_bar
from .keep.copies import say_upgraded


def serve(
    host: Annotated[
        str,
        typer.Option("--host", help="Address to listen on; any but loopback asks for a login."),
    ] = "127.0.0.1",
    port: Annotated[
        int, typer.Option("--port", help="Port to listen on.", min=0, max=65535)
    ] = 8520,
    demo_shop: Annotated[
        bool,
        typer.Option("--demo-shop", help="An invented shop in an empty folder, to try things on."),
    ] = False,
    simulate: Annotated[
        bool,
        typer.Option(
            "--simulate", help="A simulated rig, over a practice ledger beside the shop's own."
        ),
    ] = False,
    rig: Annotated[
        list[Path] | None,
        typer.Option("--rig", help="Rig file: capture through an interface; again for each rig."),
    ] = None,
    watch: Annotated[
        list[Path] | None,
        typer.Option("--watch", help="Rig file of another program's rig, with its folder; again."),
    ] = None,
    pace: Annotated[
        float, typer.Option("--pace", help="Speed of the simulated rig, times real time.")
    ] = 1.0,
    accounts: Annotated[
        bool, typer.Option("--accounts", help="Ask for a login on loopback too.")
    ] = False,
    certificate: Annotated[
        Path | None, typer.Option("--tls-certificate", help="PEM file; then https.")
    ] = None,
    key: Annotated[Path | None, typer.Option("--tls-key", help="PEM file of its key.")] = None,
    proxy: Annotated[
        str,
        typer.Option(
            "--behind-proxy",
            help="Address of a proxy before it, whose word on who asks is taken; then everybody logs in.",
        ),
    ] = "",
    log: Annotated[
        str,
        typer.Option(
            "--log", help="File of a log in JSON lines, - for standard error; no secret in it."
        ),
    ] = "",
    upgrade: Annotated[
        bool,
        typer.Option(
            "--upgrade",
            help="Bring a ledger of an earlier program up to date first, as upgrade does.",
        ),
    ] = False,
) -> None:
    """Open the workshop in the browser, with a real rig, a simulated one to practise on, or none."""
    from importlib import import_module

    if upgrade and Settings.data.exists():
        say_upgraded(False)
    if demo_shop:
        from ..workshop.demo.year import furnish_a_year

        with progress_bar(False) as show:
            furnish_a_year(
                Settings.data, progress=lambda done, of: show("a demo shop's year", done, of)
            )

    typer.echo(f"Opening {Settings.data} ...", err=True)
    # by name: the two faces of the program never import each other
    web = import_module("heavyspot.web.serving")
    address = web.Address(host, port, accounts, certificate, key, proxy)

    def ready() -> None:
        from ..workshop.private import readable_words

        if readable := readable_words(Settings.data):
            typer.echo(readable)
        if not web.is_loopback(host) and certificate is None:
            typer.echo(
                "Passwords travel in the clear: give --tls-certificate, or put a TLS proxy before it."
            )
        if demo_shop or simulate:
            typer.echo("Practice: the rig is simulated, and nothing here is a measurement.")
        elif not rig and not watch:
            typer.echo("No rig is connected: give --rig FILE to spin, or --simulate to practise.")
        typer.echo(f"Heavyspot on {address.url}  (stop with Ctrl-C)")

    web.serve(
        Settings.data, address, demo=demo_shop, simulated=simulate, pace=pace, rigs=rig or (), log=log,
        watch=watch or (), ready=ready,
    )  # fmt: skip
