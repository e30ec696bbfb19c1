"""The line from an agent to the shop's server: what is said, and a spin in parts that go on where they stopped."""

from __future__ import annotations

import base64
import hashlib
import http.client
import json
import ssl
import urllib.error
import urllib.parse
import urllib.request
from collections.abc import Iterator, Mapping
from contextlib import contextmanager
from dataclasses import dataclass
from pathlib import Path
from typing import IO, Any

from ...quantities.errors import BadInput, SourceLost
from ..station import refused

TIMEOUT_S = 30.0
LIVE_S = 2.0
"""Figures of a spin that runs: what comes later is of no use."""

READING_S = 300.0
"""The server's answer to the last part: it reads the whole spin first."""

PART = 1 << 22
"""Bytes of one part."""

ASIDE = "Everything is kept here and goes when the line is back."


@dataclass(frozen=True)
class Answer:
    """What the server answered."""

    status: int
    headers: Mapping[str, str]
    content: bytes

    def json(self) -> dict[str, Any]:
        """Return its JSON; raises `SourceLost` where it is none: a log-in page of the network, perhaps."""
        try:
            found = json.loads(self.content)
        except (ValueError, RecursionError):
            found = None
        if not isinstance(found, dict):
            raise SourceLost("What answers is no server of a shop.", remedy=ASIDE)
        return found


class Refused(BadInput):
    """The server refuses.

    Parameters
    ----------
    status : int
        Of its answer.
    """

    def __init__(self, message: str, *, remedy: str, status: int = 422) -> None:
        super().__init__(message, remedy=remedy)
        self.status = status


class Line:
    """A line over HTTP.

    Parameters
    ----------
    url : str
        Of the shop's server.
    key : str
        Of the person whose spins these are, with the scope ``write``; empty where the server asks for no login.
    certificate : str
        PEM of the server's certificate, when it signs its own.
    """

    def __init__(self, url: str, key: str = "", certificate: str = "") -> None:
        if not url.startswith(("http://", "https://")):
            raise BadInput(f'"{url}" is no address of a server.', remedy="Begin it with https://.")
        self.url, self._key = url.rstrip("/"), key
        self._tls = (
            ssl.create_default_context(cadata=certificate or None)
            if url.startswith("https")
            else None
        )

    def ask(
        self,
        method: str,
        path: str,
        body: bytes = b"",
        headers: Mapping[str, str] | None = None,
        *,
        accepts: tuple[int, ...] = (),
        timeout_s: float = TIMEOUT_S,
    ) -> Answer:
        """Return the answer.

        Parameters
        ----------
        accepts : tuple of int
            Refusals that are returned, not raised.

        Raises
        ------
        SourceLost
            The line is down, or the server cannot just now.
        Refused
            The server refuses.
        """
        sent = dict(headers or {}) | ({"Authorization": f"Bearer {self._key}"} if self._key else {})
        request = urllib.request.Request(
            self.url + path,
            data=None if method in ("GET", "HEAD") else body,
            headers=sent,
            method=method,
        )
        try:
            with urllib.request.urlopen(request, timeout=timeout_s, context=self._tls) as answer:
                return Answer(answer.status, dict(answer.headers.items()), answer.read())
        except urllib.error.HTTPError as fault:
            content = _rest_of(fault)
            if fault.code in accepts:
                return Answer(fault.code, dict(fault.headers.items()), content)
            said = refused(fault.code, content)
            if fault.code in (408, 425, 429) or isinstance(said, SourceLost):
                raise SourceLost(said.message, remedy=said.remedy) from None
            raise Refused(said.message, remedy=said.remedy, status=fault.code) from None
        except (OSError, ssl.SSLError, http.client.HTTPException, ValueError) as fault:
            raise SourceLost(
                f"The line to {self.url} is down ({getattr(fault, 'reason', fault)}).",
                remedy=ASIDE,
            ) from None

    def say(self, rig: str, said: Mapping[str, object]) -> dict[str, Any]:
        """Say what the agent does; returns what the server answers."""
        path = f"/api/v1/agents/{urllib.parse.quote(rig)}"
        body = json.dumps(dict(said)).encode()
        return self.ask("POST", path, body, {"Content-Type": "application/json"}).json()

    def stream(self, rig: str, said: Mapping[str, object]) -> None:
        """Say what the spin that runs shows; raises as `ask` does."""
        path = f"/api/v1/agents/{urllib.parse.quote(rig)}/spin"
        body = json.dumps(dict(said)).encode()
        self.ask("POST", path, body, {"Content-Type": "application/json"}, timeout_s=LIVE_S)

    def begin(self, serial: str, whole: Whole, *, rig: str, operator: str) -> str:
        """Begin an upload; returns where it goes on."""
        query = urllib.parse.urlencode({"rig": rig, "operator": operator})
        answer = self.ask(
            "POST", f"/api/v1/pieces/{urllib.parse.quote(serial)}/spins/uploads?{query}", b"",
            {
                "Content-Type": whole.kind, "Upload-Complete": "?0", "Upload-Length": str(whole.length),
                "Repr-Digest": f"sha-256=:{base64.b64encode(whole.sha256()).decode()}:",
            },
        )  # fmt: skip
        place = answer.headers.get("Location", answer.headers.get("location", ""))
        if not place.startswith("/api/v1/uploads/"):
            raise SourceLost("What answers is no server of a shop.", remedy=ASIDE)
        return place

    def offset(self, place: str) -> int | None:
        """Return how much of an upload the server has; None where it knows it no more."""
        answer = self.ask("HEAD", place, accepts=(404,))
        if answer.status == 404:
            return None
        return _offset_in(answer)

    def part(self, place: str, whole: Whole, offset: int) -> int | dict[str, Any]:
        """Send the next part; returns how much the server has then, or what the whole became after the last."""
        body = whole.read(offset, PART)
        last = offset + len(body) >= whole.length
        answer = self.ask(
            "PATCH", place, body,
            {
                "Content-Type": "application/partial-upload", "Upload-Offset": str(offset),
                "Upload-Complete": "?1" if last else "?0",
            },
            accepts=(409,), timeout_s=READING_S if last else TIMEOUT_S,
        )  # fmt: skip
        if last and answer.status in (200, 201):
            return answer.json()
        return _offset_in(answer)


class Whole:
    """A spin as the form that is sent, read in parts; the same bytes however often, which a digest over all proves.

    Parameters
    ----------
    recording : Path
    sidecar : str
        Text of what stands beside it.
    """

    def __init__(self, recording: Path, sidecar: str) -> None:
        edge = f"spin-{recording.stem}"
        self.kind = f"multipart/form-data; boundary={edge}"
        self._path = recording
        self._before = _head(edge, "recording", recording.name)
        self._after = (
            b"\r\n"
            + _head(edge, "sidecar", f"{recording.stem}.json")
            + sidecar.encode()
            + f"\r\n--{edge}--\r\n".encode()
        )
        self._size = recording.stat().st_size

    @property
    def length(self) -> int:
        """Bytes of it all."""
        return len(self._before) + self._size + len(self._after)

    def read(self, offset: int, most: int) -> bytes:
        """Return bytes of it from an offset on."""
        found = b""
        at = 0
        for piece in (self._before, None, self._after):
            size = self._size if piece is None else len(piece)
            inside = max(0, offset + len(found) - at)
            if inside < size and len(found) < most:
                found += self._some(piece, inside, most - len(found))
            at += size
        return found

    def sha256(self) -> bytes:
        """Return the digest of it all."""
        digest = hashlib.sha256()
        for offset in range(0, self.length, PART):
            digest.update(self.read(offset, PART))
        return digest.digest()

    def _some(self, piece: bytes | None, offset: int, most: int) -> bytes:
        if piece is not None:
            return piece[offset : offset + most]
        with self._opened() as file:
            file.seek(offset)
            return file.read(min(most, self._size - offset))

    @contextmanager
    def _opened(self) -> Iterator[IO[bytes]]:
        with self._path.open("rb") as file:
            yield file


def _head(edge: str, name: str, file: str) -> bytes:
    said = f'Content-Disposition: form-data; name="{name}"; filename="{file}"'
    return f"--{edge}\r\n{said}\r\n\r\n".encode()


def _offset_in(answer: Answer) -> int:
    said = {k.lower(): v for k, v in answer.headers.items()}.get("upload-offset", "")
    if not said.isdigit():
        raise SourceLost("What answers is no server of a shop.", remedy=ASIDE)
    return int(said)


def _rest_of(fault: urllib.error.HTTPError) -> bytes:
    try:
        return fault.read()
    except (OSError, http.client.HTTPException):  # cut off in the middle of the refusal
        return b""
