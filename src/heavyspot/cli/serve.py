"""``heavyspot serve``: the workshop in the browser."""

from __future__ import annotations

from pathlib import Path
from typing import Annotated

import typer

from .common import Settings


def serve(
    host: Annotated[
        str,
        typer.Option("--host", help="Address to listen on; any but loopback asks for a login."),
    ] = "127.0.0.1",
    port: Annotated[int, typer.Option("--port", help="Port to listen on.")] = 8520,
    demo_shop: Annotated[
        bool, typer.Option("--demo-shop", help="Furnish an empty ledger with the demo shop.")
    ] = False,
    rig: Annotated[
        Path | None, typer.Option("--rig", help="Rig file: capture through an interface.")
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
) -> None:
    """Open the workshop in the browser, with the simulated rig or a real one."""
    from importlib import import_module

    # by name: the two faces of the program never import each other
    web = import_module("heavyspot.web.app")
    address = web.Address(host, port, accounts, certificate, key)

    def ready() -> None:
        if not web.is_loopback(host) and certificate is None:
            typer.echo(
                "Passwords travel in the clear: give --tls-certificate, or put a TLS proxy before it."
            )
        typer.echo(f"Heavyspot on {address.url}  (stop with Ctrl-C)")

    web.serve(Settings.data, address, demo=demo_shop, pace=pace, rig=rig, ready=ready)
