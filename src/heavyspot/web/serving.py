"""The server: where it listens, whom it believes, how many it lets in."""

from __future__ import annotations

import asyncio
import functools
import ipaddress
import socket
import ssl
from collections.abc import Callable, Sequence
from dataclasses import dataclass
from pathlib import Path

import uvicorn
from starlette.types import ASGIApp

from .._version import __version__
from ..quantities.errors import BadInput
from ..quantities.private import ON_WINDOWS
from ..sources.sound_card import load_rig_file
from ..workshop.incoming.watched import watched_rig
from .app import create_app
from .doors import Doors, files_allowed, most_for, protocols
from .operation.log import log_to, say

BACKLOG = 100
"""Connections that may wait to be let in, and so may come in one turn of the loop."""

HANDSHAKE_S = 5.0
"""How long TLS may take to be agreed on."""


def is_loopback(host: str) -> bool:
    """Return whether only this computer can reach an address."""
    try:
        return ipaddress.ip_address(host).is_loopback
    except ValueError:
        return host == "localhost"


@dataclass(frozen=True)
class Address:
    """Where to listen.

    Attributes
    ----------
    accounts : bool
        Ask for a login on loopback too; any other address, and a proxy, always asks.
    certificate, key : Path or None
        PEM files for TLS.
    proxy : str
        Address of a proxy whose word is taken on who asks, and whether by TLS; empty: nobody's word is.
    """

    host: str = "127.0.0.1"
    port: int = 8520
    accounts: bool = False
    certificate: Path | None = None
    key: Path | None = None
    proxy: str = ""

    @property
    def url(self) -> str:
        """What to type into a browser."""
        return f"{'https' if self.certificate else 'http'}://{self.host}:{self.port}/"

    @property
    def logins(self) -> bool:
        """Whether everybody has to log in."""
        return self.accounts or bool(self.proxy) or not is_loopback(self.host)


class Server(uvicorn.Server):
    """uvicorn's, with doors before it, and a time limit for agreeing on TLS."""

    doors: Doors

    async def startup(self, sockets: list[socket.socket] | None = None) -> None:
        """Listen."""
        loop = asyncio.get_running_loop()
        if self.config.is_ssl:
            within = functools.partial(loop.create_server, ssl_handshake_timeout=HANDSHAKE_S)
            loop.create_server = within  # type: ignore[method-assign]  # uvicorn has no setting for it
        await super().startup(sockets)


def server_of(app: ASGIApp, address: Address, doors: Doors | None = None) -> Server:
    """Return a server that is ready to run.

    Raises
    ------
    BadInput
        The proxy is no address.
    """
    if address.proxy:
        try:
            ipaddress.ip_address(address.proxy)
        except ValueError:
            raise BadInput(
                f"{address.proxy!r} is no address of a proxy.", remedy="Write it like 127.0.0.1."
            ) from None
    doors = doors or Doors(most_for(files_allowed()), proxy=address.proxy)
    http, ws = protocols(doors)
    config = uvicorn.Config(
        app,
        host=address.host,
        port=address.port,
        log_level="warning",
        http=http,
        ws=ws,
        backlog=BACKLOG,
        proxy_headers=bool(address.proxy),  # uvicorn would believe anybody on this computer
        forwarded_allow_ips=address.proxy or None,
        ssl_certfile=address.certificate,
        ssl_keyfile=address.key,
    )
    made = Server(config)
    made.doors = doors
    return made


def _refuse_address(address: Address) -> None:
    """Raise `BadInput` where nothing can listen there, or the certificate is none, before anything is opened."""
    if address.certificate is not None:
        try:
            ssl.create_default_context().load_cert_chain(address.certificate, address.key)
        except (OSError, ValueError) as fault:
            raise BadInput(
                f"The certificate {address.certificate} and its key cannot be used ({fault}).",
                remedy="Give PEM files with --tls-certificate and --tls-key that belong together.",
            ) from None
    try:
        kind, *_, at = socket.getaddrinfo(address.host, address.port, type=socket.SOCK_STREAM)[0]
        with socket.socket(kind, socket.SOCK_STREAM) as tried:
            if not ON_WINDOWS:  # there it would let two listen at once
                tried.setsockopt(socket.SOL_SOCKET, socket.SO_REUSEADDR, 1)
            tried.bind(at)
    except OSError as fault:
        raise BadInput(
            f"Nothing can listen on {address.host}, port {address.port} ({fault.strerror}).",
            remedy="Name this computer's address and a free port with --host and --port.",
        ) from None


def serve(
    data: Path,
    address: Address,
    *,
    demo: bool,
    simulated: bool,
    pace: float,
    rigs: Sequence[Path] = (),
    watch: Sequence[Path] = (),
    log: str = "",
    ready: Callable[[], None] = lambda: None,
) -> None:
    """Run the server until it is stopped; `ready` is called when nothing refuses any more.

    Parameters
    ----------
    rigs : sequence of Path
        Rig files, one for each rig of this computer.
    watch : sequence of Path
        Rig files whose ``watch`` names a folder.
    log : str
        File of the log, ``-`` for standard error; none when empty.

    Raises
    ------
    BadInput
        The address can be reached from elsewhere and there is no owner's account, or as `create_app` does.
    """
    _refuse_address(address)
    app = create_app(
        data,
        demo=demo,
        simulated=simulated,
        pace=pace,
        rigs=[load_rig_file(path) for path in rigs],
        accounts=address.logins,
        watch=[watched_rig(path) for path in watch],
    )
    server = server_of(app, address)
    app.state.metrics.doors = server.doors
    ready()
    if log:
        log_to(log)
        say("start", version=__version__, address=address.url, logins=str(address.logins))
    server.run()
    say("stop")
