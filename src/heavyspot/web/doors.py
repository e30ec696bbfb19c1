"""How many may stand in the doors: connections that ask nothing cannot keep out those that do, nor use up files.

Each open connection holds one of the process's files; when these are used up, no page is answered and no recording
opened. So there is a most for all and for one address. Over it the connection goes that has been idle longest, of
the address that has most; one that asks and is being answered stays. Idle ones, and bodies that stop coming, go by
time.
"""

from __future__ import annotations

import asyncio
from collections.abc import Callable
from dataclasses import dataclass

from uvicorn.protocols.http.h11_impl import H11Protocol
from uvicorn.protocols.websockets.websockets_sansio_impl import WebSocketsSansIOProtocol

HEAD_S = 10.0
"""How long a connection may take until it has asked something, headers and all."""

BODY_S = 30.0
"""How long a body may stop coming."""

MOST, MOST_OF_ONE = 1000, 200
"""Connections of all, and of one address: about 25 browsers behind one router (ours)."""

FILES_KEPT = 256
"""Files that stay free of connections: recordings, the ledger, what the program reads."""

LOOK_EVERY_S = 1.0


def most_for(files: int) -> int:
    """Return how many connections there may be where a process may have so many files open."""
    return max(16, min(MOST, (files - FILES_KEPT) // 2))


def files_allowed() -> int:
    """Return how many files this process may have open, after asking for as many as it may ask for."""
    try:
        import resource
    except ImportError:  # Windows counts otherwise, and allows more
        return 8192
    soft, hard = resource.getrlimit(resource.RLIMIT_NOFILE)
    wanted = min(hard, 16_384) if hard != resource.RLIM_INFINITY else 16_384
    if soft < wanted:
        resource.setrlimit(resource.RLIMIT_NOFILE, (wanted, hard))
        soft = wanted
    return soft


@dataclass
class _Guest:
    address: str
    idle: Callable[[], bool]
    starved: Callable[[], bool]
    idle_since: float
    heard: float


class Doors:
    """The open connections of a server.

    Parameters
    ----------
    most, most_of_one : int
    proxy : str
        Address that brings many: only the most of all counts for it.
    """

    def __init__(self, most: int = MOST, most_of_one: int = MOST_OF_ONE, proxy: str = "") -> None:
        self.most, self.most_of_one, self.proxy = most, min(most_of_one, most), proxy
        self._guests: dict[asyncio.BaseTransport, _Guest] = {}
        self._looking = False

    def __len__(self) -> int:
        return len(self._guests)

    def enter(
        self,
        transport: asyncio.Transport,
        address: str,
        idle: Callable[[], bool],
        starved: Callable[[], bool],
    ) -> None:
        """Let a new connection in, and another one out where there are too many."""
        now = asyncio.get_running_loop().time()
        self._guests[transport] = _Guest(address, idle, starved, now, now)
        mine = self._of(address)
        if address != self.proxy and len(mine) > self.most_of_one:
            self._turn_out(mine, transport)
        elif len(self._guests) > self.most:
            by_address: dict[str, list[asyncio.BaseTransport]] = {}
            for t, g in self._guests.items():
                by_address.setdefault(g.address, []).append(t)
            self._turn_out(max(by_address.values(), key=len), transport)
        if not self._looking:
            self._looking = True
            asyncio.get_running_loop().call_later(LOOK_EVERY_S, self._look)

    def heard(self, transport: asyncio.BaseTransport) -> None:
        """Remember that something came."""
        guest = self._guests.get(transport)
        if guest:
            guest.heard = asyncio.get_running_loop().time()

    def stays(self, transport: asyncio.BaseTransport) -> None:
        """Remember that a connection is a websocket: it has its own pings."""
        guest = self._guests.get(transport)
        if guest:
            guest.idle = guest.starved = lambda: False

    def leave(self, transport: asyncio.BaseTransport) -> None:
        """Forget a connection that is closed."""
        self._guests.pop(transport, None)

    def _of(self, address: str) -> list[asyncio.BaseTransport]:
        return [t for t, g in self._guests.items() if g.address == address]

    def _turn_out(self, among: list[asyncio.BaseTransport], newest: asyncio.BaseTransport) -> None:
        """Close the one that has been idle longest; the newest where all others are being answered."""
        idle = [t for t in among if t is not newest and self._guests[t].idle()]
        self._close(min(idle, key=lambda t: self._guests[t].idle_since, default=newest))

    def _close(self, transport: asyncio.BaseTransport) -> None:
        self._guests.pop(transport, None)
        if isinstance(transport, asyncio.Transport):
            transport.abort()

    def _look(self) -> None:
        """Close what has been idle, or silent in the middle of a body, for too long."""
        loop = asyncio.get_running_loop()
        now = loop.time()
        for transport, guest in list(self._guests.items()):
            if not guest.idle():
                guest.idle_since = now
                late = guest.starved() and now - guest.heard > BODY_S
            else:
                late = now - guest.idle_since > HEAD_S
            if late:
                self._close(transport)
        self._looking = bool(self._guests)
        if self._looking:
            loop.call_later(LOOK_EVERY_S, self._look)


def protocols(doors: Doors) -> tuple[type[H11Protocol], type[WebSocketsSansIOProtocol]]:
    """Return uvicorn's protocols with these doors before them."""

    class Http(H11Protocol):
        def connection_made(self, transport: asyncio.Transport) -> None:  # type: ignore[override]  # as uvicorn has it
            super().connection_made(transport)
            address = self.client[0] if self.client else ""
            doors.enter(transport, address, self._idle, self._starved)

        def data_received(self, data: bytes) -> None:
            doors.heard(self.transport)
            super().data_received(data)

        def connection_lost(self, exc: Exception | None) -> None:
            doors.leave(self.transport)
            super().connection_lost(exc)

        def _idle(self) -> bool:
            return self.cycle is None or self.cycle.response_complete

        def _starved(self) -> bool:
            return self.cycle is not None and self.cycle.more_body

    class WebSocket(WebSocketsSansIOProtocol):
        def connection_made(self, transport: asyncio.BaseTransport) -> None:
            super().connection_made(transport)
            doors.stays(transport)

        def connection_lost(self, exc: Exception | None) -> None:
            doors.leave(self.transport)
            super().connection_lost(exc)

    return Http, WebSocket
