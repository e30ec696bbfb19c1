"""Time stamps after RFC 3161: a service's signed word that something was there at a time.

The service is the shop's choice (``timestamp_url``). It is sent a digest and nothing else, and is not
needed to check a stamp. Whether to believe it is for whoever reads the stamp: its name and the SHA-256 of its
certificate are told.
"""

from __future__ import annotations

import asyncio
import base64
import hashlib
import urllib.request
from collections.abc import Callable, Coroutine
from concurrent.futures import ThreadPoolExecutor
from dataclasses import dataclass
from datetime import UTC
from typing import Any, TypeVar

from ..quantities.errors import BadInput, SourceLost, need

T = TypeVar("T")

ANSWER_S = 15.0
LARGEST = 200_000
"""Bytes of an answer that is a time stamp."""

Post = Callable[[str, bytes], bytes]
"""Sends a query to an address, and returns the answer."""


@dataclass(frozen=True)
class Stamped:
    """What a time stamp says.

    Attributes
    ----------
    at : str
        UTC.
    by : str
        Name on the service's certificate.
    fingerprint : str
        SHA-256 of it.
    """

    at: str
    by: str
    fingerprint: str


def post(url: str, query: bytes) -> bytes:
    """Send a query by HTTP, RFC 3161 section 3.4; raises `SourceLost` when nothing answers."""
    if not url.startswith(("http://", "https://")):
        raise BadInput(f'"{url}" is no address of a service.', remedy="Begin it with https://.")
    headers = {"Content-Type": "application/timestamp-query"}
    request = urllib.request.Request(url, data=query, headers=headers, method="POST")
    try:
        with urllib.request.urlopen(request, timeout=ANSWER_S) as answer:
            return bytes(answer.read(LARGEST))
    except (OSError, ValueError) as fault:
        raise SourceLost(
            f"The time stamp service {url} does not answer ({getattr(fault, 'reason', fault)}).",
            remedy="It is asked again by itself; nothing waits for it.",
        ) from None


def stamp(words: str, url: str, send: Post = post) -> str:
    """Return a time stamp over a text, base64 of DER, as a service gives it; it is checked before it is returned.

    Raises
    ------
    SourceLost
        The service does not answer, refuses, or its answer is no time stamp over this text.
    """
    need("pyhanko", "sheets", "Time stamps")
    from asn1crypto import tsp
    from pyhanko.sign.timestamps import TimeStamper

    class Asking(TimeStamper):
        async def async_request_tsa_response(self, req: Any) -> Any:
            return tsp.TimeStampResp.load(send(url, req.dump()))

    digest = hashlib.sha256(words.encode()).digest()
    try:
        token = _run(Asking().async_timestamp(digest, "sha256"))  # type: ignore[no-untyped-call]  # as above
        made = base64.b64encode(token.dump()).decode()
    except SourceLost:
        raise
    except Exception as fault:  # an answer that is none fails anywhere inside the reader
        raise SourceLost(
            f"What {url} answered is no time stamp ({type(fault).__name__}: {fault!s:.120}).",
            remedy="Check timestamp_url in shop.toml.",
        ) from None
    if check_stamp(made, words) is None:
        raise SourceLost(
            f"The time stamp of {url} does not fit what was sent.", remedy="Check that service."
        )
    return made


def check_stamp(token: str, words: str) -> Stamped | None:
    """Return what a time stamp says; None when it is none over this text, or its signature does not fit."""
    need("pyhanko", "sheets", "Time stamps")
    from asn1crypto import cms
    from pyhanko.sign.validation.generic_cms import validate_tst_signed_data
    from pyhanko_certvalidator import ValidationContext

    try:
        content = cms.ContentInfo.load(base64.b64decode(token, validate=True), strict=True)
        signed = _part(content, "content")
        who = _part(signed, "signer_infos")[0]
        wanted = _part(_part(who, "sid").chosen, "serial_number").native
        held = [c.chosen for c in _part(signed, "certificates")]
        found = [c for c in held if c.serial_number == wanted]
        context = ValidationContext(trust_roots=found[:1], allow_fetching=False)
        told = _run(
            validate_tst_signed_data(
                signed, context, lambda kind: hashlib.new(kind, words.encode()).digest()
            )
        )
    except Exception:  # what is no time stamp fails anywhere inside the reader
        return None
    if not (told.get("intact") and told.get("valid")):
        return None
    certificate, when = told.get("signing_cert"), told.get("timestamp")
    name = certificate.subject.native.get("common_name", "") or certificate.subject.human_friendly
    at = when.astimezone(UTC).isoformat(timespec="seconds")
    return Stamped(at, str(name), certificate.sha256.hex())


def _part(value: Any, name: str) -> Any:
    """Return a named part of an ASN.1 value."""
    return value[name]


def _run(work: Coroutine[Any, Any, T]) -> T:
    """Run what waits by itself; in a thread where a loop runs already."""
    try:
        asyncio.get_running_loop()
    except RuntimeError:
        return asyncio.run(work)
    with ThreadPoolExecutor(1) as apart:
        return apart.submit(asyncio.run, work).result()
