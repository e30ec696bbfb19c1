"""The line between a station and the main house: plain HTTPS, and one fault when it is down."""

from __future__ import annotations

import http.client
import ipaddress
import json
import ssl
import urllib.error
import urllib.parse
import urllib.request
from typing import Any, Protocol

from ...quantities.errors import BadInput, NotThere, SourceLost

TIMEOUT_S = 30.0

EXCHANGE = "/api/v1/exchange"
"""Where a main house answers its stations."""


class Line(Protocol):
    """Carries a request to the main house."""

    def send(
        self, method: str, path: str, body: bytes = b"", kind: str = "application/json"
    ) -> dict[str, Any]:
        """Return the answer's JSON.

        Raises
        ------
        SourceLost
            The line is down.
        BadInput
            The main house refuses.
        NotThere
            It knows no such address.
        """
        ...


class HttpLine:
    """A line over HTTP.

    Parameters
    ----------
    url : str
        Of the main house.
    key : str
        The station's.
    certificate : str
        PEM of the main house's TLS certificate, when it is signed by itself.
    """

    def __init__(self, url: str, key: str, certificate: str = "") -> None:
        self.url, self.key = url.rstrip("/"), key
        self._tls = ssl.create_default_context(cadata=certificate or None)

    def send(
        self, method: str, path: str, body: bytes = b"", kind: str = "application/json"
    ) -> dict[str, Any]:
        """Return the answer's JSON; raises as `Line.send` says."""
        if not self.url.startswith(("http://", "https://")):
            raise BadInput(
                f'"{self.url}" is no address of a main house.', remedy="Begin it with https://."
            )
        headers = {"X-Station-Key": self.key, "Content-Type": kind}
        request = urllib.request.Request(
            self.url + path, data=body or None, headers=headers, method=method
        )
        tls = self._tls if self.url.startswith("https") else None
        try:
            with urllib.request.urlopen(request, timeout=TIMEOUT_S, context=tls) as answer:
                content = answer.read()
        except urllib.error.HTTPError as fault:
            raise refused(fault.code, _rest_of(fault)) from None
        except (OSError, ssl.SSLError, http.client.HTTPException, ValueError) as fault:
            raise SourceLost(
                f"The line to {self.url} is down ({getattr(fault, 'reason', fault)}).",
                remedy="Everything is kept here and goes when it is back.",
            ) from None
        try:
            found = json.loads(content)
        except (ValueError, RecursionError):
            found = None
        if not isinstance(found, dict):
            raise SourceLost(
                f"What answers at {self.url} is no main house: a log-in page of the network, perhaps.",
                remedy="Everything is kept here and goes when the line is back.",
            )
        return found


def refuse_clear(url: str, *, own_net: bool = False) -> None:
    """Raise `BadInput` for a line on which key and entries would travel in the clear on a net not the shop's own.

    A line to this computer itself leaves it by no wire.
    """
    address = urllib.parse.urlsplit(url)
    if address.scheme != "http" or own_net or _is_here(address.hostname or ""):
        return
    raise BadInput(
        f"To {url} the key and everything that is written would travel in the clear: who listens has both.",
        remedy="Give the main house a TLS certificate and begin with https://; "
        "where the whole line is the shop's own net, say so with --lan.",
    )


def _is_here(host: str) -> bool:
    try:
        return ipaddress.ip_address(host).is_loopback
    except ValueError:
        return host == "localhost"


def _rest_of(fault: urllib.error.HTTPError) -> bytes:
    try:
        return fault.read()
    except (OSError, http.client.HTTPException):  # cut off in the middle of the refusal
        return b""


def refused(status: int, content: bytes) -> BadInput | NotThere | SourceLost:
    """Return a refusal in the main house's own words."""
    try:
        said = json.loads(content)
        words, remedy = str(said.get("detail") or said["error"]), str(said.get("remedy", ""))
    except (ValueError, KeyError, TypeError, AttributeError, RecursionError):
        words, remedy = f"The main house answered {status}.", "Try again later."
    if status >= 500:
        return SourceLost(words, remedy=remedy or "Try again later.")
    if status == 404:
        return NotThere(words, remedy=remedy or "Ask who keeps the main house.")
    return BadInput(words, remedy=remedy or "Ask who keeps the main house.")
