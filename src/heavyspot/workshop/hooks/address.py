"""Where a web hook may go: not into the shop's own net, nor to this computer's neighbours, by whatever name.

A name is looked up once, every address it has is checked, and the connection goes to one that was checked: a
name that means another place a moment later (DNS rebinding) changes nothing.
"""

from __future__ import annotations

import socket
from collections.abc import Sequence
from dataclasses import dataclass
from ipaddress import IPv4Address, IPv6Address, ip_address, ip_network
from urllib.parse import urlsplit

from ...quantities.errors import BadInput, SourceLost

LONGEST = 2000
HERE = ("localhost", "127.0.0.1", "::1")
"""This computer, said by its own names: a receiver beside the program."""

_NAT64 = ip_network("64:ff9b::/96")
"""IPv4 within IPv6 (RFC 6052)."""

Address = IPv4Address | IPv6Address


@dataclass(frozen=True)
class Target:
    """An address as it was written, in its parts."""

    secure: bool
    host: str
    port: int
    path: str

    @property
    def name(self) -> str:
        """Host and port, as the header Host says them."""
        host = f"[{self.host}]" if ":" in self.host else self.host
        usual = 443 if self.secure else 80
        return host if self.port == usual else f"{host}:{self.port}"


def target_of(url: str) -> Target:
    """Return the parts of a hook's address.

    Raises
    ------
    BadInput
        It is no address of HTTP, or carries a name and password or a fragment.
    """
    remedy = "Like https://example.org/heavyspot."
    try:
        parts = urlsplit(url)
        port = parts.port
    except ValueError:
        raise BadInput("This is no address.", remedy=remedy) from None
    odd = any(c.isspace() or not c.isprintable() or ord(c) > 126 for c in url)
    if parts.scheme not in ("https", "http") or not parts.hostname or odd or len(url) > LONGEST:
        raise BadInput("This is no address.", remedy=remedy)
    if parts.username is not None or parts.password is not None or parts.fragment or "#" in url:
        raise BadInput("A hook's address has no password and no # in it.", remedy=remedy)
    secure = parts.scheme == "https"
    path = (parts.path or "/") + (f"?{parts.query}" if parts.query else "")
    return Target(secure, parts.hostname, port or (443 if secure else 80), path)


def reach(target: Target, networks: Sequence[str] = ()) -> str:
    """Return the address to connect to: one that a hook may reach.

    Parameters
    ----------
    networks : sequence of str
        The shop's own that hooks may reach (``hook_networks`` in the shop file).

    Raises
    ------
    BadInput
        It may not go there.
    SourceLost
        The name is not known just now.
    """
    try:
        found = socket.getaddrinfo(target.host, target.port, type=socket.SOCK_STREAM)
    except (OSError, UnicodeError) as fault:
        raise SourceLost(
            f"{target.host} is not known ({fault}).", remedy="Try again later."
        ) from None
    addresses = [str(entry[4][0]).partition("%")[0] for entry in found]
    for address in addresses:
        _refuse(target, ip_address(address), networks)
    return addresses[0]


def _refuse(target: Target, address: Address, networks: Sequence[str]) -> None:
    meant = _meant(address)
    here = target.host in HERE and address.is_loopback
    own = any(meant in ip_network(n) for n in networks if ip_network(n).version == meant.version)
    if here or own:
        return
    if not meant.is_global or meant.is_multicast or meant.is_reserved or address.is_loopback:
        raise BadInput(
            f"{target.host} is in a private net ({meant}); a hook does not go there.",
            remedy="Name the net in shop.toml, if it is the shop's own: hook_networks.",
        )
    if not target.secure:
        raise BadInput("A hook goes by HTTPS.", remedy="Begin the address with https://.")


def _meant(address: Address) -> Address:
    """Return the IPv4 address that an IPv6 one stands for."""
    if isinstance(address, IPv4Address):
        return address
    if address in _NAT64:
        return IPv4Address(int(address) & 0xFFFFFFFF)
    if address.teredo:
        return address.teredo[1]
    return address.ipv4_mapped or address.sixtofour or address
