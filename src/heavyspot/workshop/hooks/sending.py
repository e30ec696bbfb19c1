"""One try to tell: signed, to the address that was checked, no redirect followed, never longer than a moment."""

from __future__ import annotations

import base64
import contextlib
import hashlib
import hmac
import http.client
import socket
import ssl
import threading
from collections.abc import Sequence
from dataclasses import dataclass

from ..._version import __version__
from ...quantities.errors import HeavyspotError
from .address import Target, reach, target_of
from .registry import SECRET

PATIENCE_S = 10.0
"""How long one try may take in all, whatever trickles in."""


@dataclass(frozen=True)
class Tried:
    """What came of a try.

    Attributes
    ----------
    good : bool
        Any status of 200 to 299.
    answer : str
        The status, or why there was none.
    gone : bool
        The receiver says that it is not there any more (410): nothing else is sent.
    wait_s : float
        What the receiver asks for with ``Retry-After``; 0 where it asks for nothing.
    """

    good: bool
    answer: str
    gone: bool = False
    wait_s: float = 0.0


def signature(secret: str, id_: str, timestamp: int, body: bytes) -> str:
    """Return the header ``webhook-signature``: HMAC-SHA256 over ``id.timestamp.body`` (Standard Webhooks)."""
    key = base64.b64decode(secret.removeprefix(SECRET))
    signed = f"{id_}.{timestamp}.".encode() + body
    return "v1," + base64.b64encode(hmac.new(key, signed, hashlib.sha256).digest()).decode()


def send(
    url: str, secret: str, id_: str, body: bytes, *, timestamp: int, networks: Sequence[str] = ()
) -> Tried:
    """Try once to tell a hook; whatever goes wrong is an answer, not an error."""
    headers = {
        "Content-Type": "application/json",
        "User-Agent": f"heavyspot/{__version__}",
        "webhook-id": id_,
        "webhook-timestamp": str(timestamp),
        "webhook-signature": signature(secret, id_, timestamp, body),
        "Connection": "close",
    }
    try:
        target = target_of(url)
        return _post(target, reach(target, networks), headers, body)
    except HeavyspotError as fault:
        return Tried(False, str(fault))
    except (OSError, http.client.HTTPException, ValueError) as fault:
        return Tried(False, f"{type(fault).__name__}: {fault!s:.200}")


def _post(target: Target, address: str, headers: dict[str, str], body: bytes) -> Tried:
    line = socket.create_connection((address, target.port), timeout=PATIENCE_S)
    late = threading.Event()

    def cut() -> None:
        late.set()
        with contextlib.suppress(OSError):
            line.shutdown(socket.SHUT_RDWR)

    watch = threading.Timer(PATIENCE_S, cut)
    watch.daemon = True
    watch.start()
    connection = http.client.HTTPConnection(target.host, target.port, timeout=PATIENCE_S)
    try:
        secured = line
        if target.secure:
            secured = ssl.create_default_context().wrap_socket(line, server_hostname=target.host)
        connection.sock = secured
        connection.request("POST", target.path, body, headers | {"Host": target.name})
        said = _said(connection.getresponse())
        return _too_late() if late.is_set() else said  # cut off in the middle it looks like an end
    except (OSError, http.client.HTTPException):
        if late.is_set():
            return _too_late()
        raise
    finally:
        watch.cancel()
        connection.close()
        line.close()


def _too_late() -> Tried:
    return Tried(False, f"no answer within {PATIENCE_S:g} s")


def _said(answer: http.client.HTTPResponse) -> Tried:
    status = answer.status
    told = f"{status} {answer.reason}"[:200].strip()
    if 300 <= status < 400:
        told += "; a hook follows no redirect"
    asked = answer.headers.get("Retry-After", "")
    wait_s = float(asked) if asked.isascii() and asked.isdigit() and len(asked) < 7 else 0.0
    return Tried(200 <= status < 300, told, status == 410, wait_s)
