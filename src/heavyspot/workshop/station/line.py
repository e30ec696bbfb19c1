"""The line between a station and the main house: plain HTTPS, and one fault when it is down."""

from __future__ import annotations

import json
import ssl
import urllib.error
import urllib.request
from typing import Any, Protocol

from ...quantities.errors import BadInput, SourceLost

TIMEOUT_S = 30.0


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
            raise refused(fault.code, fault.read()) from None
        except (OSError, urllib.error.URLError, ssl.SSLError) as fault:
            raise SourceLost(
                f"The line to {self.url} is down ({getattr(fault, 'reason', fault)}).",
                remedy="Everything is kept here and goes when it is back.",
            ) from None
        try:
            found = json.loads(content)
        except ValueError:
            found = None
        if not isinstance(found, dict):
            raise SourceLost(
                f"What answers at {self.url} is no main house: a log-in page of the network, perhaps.",
                remedy="Everything is kept here and goes when the line is back.",
            )
        return found


def refused(status: int, content: bytes) -> BadInput | SourceLost:
    """Return a refusal in the main house's own words."""
    try:
        said = json.loads(content)
        words, remedy = str(said["error"]), str(said.get("remedy", ""))
    except (ValueError, KeyError, TypeError):
        words, remedy = f"The main house answered {status}.", "Try again later."
    if status >= 500:
        return SourceLost(words, remedy=remedy or "Try again later.")
    return BadInput(words, remedy=remedy or "Ask who keeps the main house.")
