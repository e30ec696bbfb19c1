"""Uploads that go on where they stopped: what was acknowledged is on the disk.

Their HTTP is that of the IETF's draft of resumable uploads; here is only what lies on the disk: a folder for each,
with what it is in ``about.json`` and its bytes so far in ``body``.
"""

from __future__ import annotations

import hashlib
import json
import re
import secrets
import threading
import time
from collections.abc import Iterator
from contextlib import contextmanager
from dataclasses import asdict, dataclass
from pathlib import Path

from ...quantities import durable
from ...quantities.errors import BadInput, LedgerFault, NotThere, Stale
from ..shop import Workshop
from ..stored import stored

LARGEST = 2_000_000_000
"""Bytes of one upload."""

KEPT_S = 7 * 86_400
"""An upload that nobody went on with for so long is removed."""

_ID = re.compile(r"[A-Za-z0-9_-]{20,40}")


@dataclass(frozen=True)
class Upload:
    """What is being uploaded.

    Attributes
    ----------
    id : str
        Not to be guessed.
    kind : str
        Content type of the whole.
    name : str
        Of the file, where the content is the file alone.
    by : str
        Who began it; nobody else may go on.
    length : int or None
        Of the whole, where it was said.
    sha256 : str
        Of the whole, hexadecimal, where it was said.
    """

    id: str
    serial: str
    kind: str
    name: str = ""
    by: str = ""
    rig: str = ""
    operator: str = ""
    length: int | None = None
    sha256: str = ""


class Uploads:
    """The uploads of a shop."""

    def __init__(self, shop: Workshop) -> None:
        self.folder = shop.folder / "capture" / "uploads"
        self._guard = threading.Lock()
        self._now: set[str] = set()

    def begin(
        self, serial: str, kind: str, *, name: str = "", by: str = "", rig: str = "",
        operator: str = "", length: int | None = None, sha256: str = "",
    ) -> Upload:  # fmt: skip
        """Begin an upload; removes those that nobody went on with.

        Raises
        ------
        BadInput
            It is to become larger than can be taken.
        LedgerFault
            The disk refuses.
        """
        if length is not None and not 0 <= length <= LARGEST:
            raise BadInput(
                f"{length / 1e6:,.0f} MB are to come; {LARGEST / 1e6:,.0f} are the most.",
                remedy="Convert the recording to FLAC first.",
            )
        made = Upload(
            secrets.token_urlsafe(24), serial, kind, name, by, rig, operator, length, sha256
        )
        try:
            self._forget_old()
            durable.make_folder(self.folder / made.id)
            (self.folder / made.id / "body").touch()
            durable.write_text(self.folder / made.id / "about.json", json.dumps(asdict(made)))
        except OSError as fault:
            raise LedgerFault(
                f"The upload cannot be kept ({fault.strerror}).", remedy="Make room on the disk."
            ) from None
        return made

    def find(self, id_: str, by: str) -> Upload:
        """Return an upload; raises `NotThere` when there is none, or it is another person's."""
        about = self.folder / id_ / "about.json"
        if _ID.fullmatch(id_) and about.is_file():
            found = stored(Upload, json.loads(about.read_text(encoding="utf-8")), what="An upload")
            if found.by == by:
                return found
        raise NotThere("There is no such upload.", remedy="Begin it anew.")

    def body(self, upload: Upload) -> Path:
        """Return where the bytes lie."""
        return self.folder / upload.id / "body"

    def offset(self, upload: Upload) -> int:
        """Return how many bytes are on the disk: what is told as there stays there."""
        path = self.body(upload)
        durable.sync_file(path)
        return path.stat().st_size

    @contextmanager
    def one_at_a_time(self, upload: Upload) -> Iterator[None]:
        """Let nobody else write to it meanwhile; raises `Stale` when somebody does."""
        with self._guard:
            if upload.id in self._now:
                raise Stale("This upload is being written to.", remedy="Ask how far it is.")
            self._now.add(upload.id)
        try:
            yield
        finally:
            with self._guard:
                self._now.discard(upload.id)

    def append(self, upload: Upload, content: bytes) -> None:
        """Write more of it, not yet synced.

        Raises
        ------
        BadInput
            It becomes larger than was said, or than can be taken.
        LedgerFault
            The disk refuses.
        """
        path = self.body(upload)
        most = LARGEST if upload.length is None else upload.length
        try:
            if path.stat().st_size + len(content) > most:
                raise BadInput(
                    f"More than {most} bytes came.", remedy="Begin it anew, with the true length."
                )
            with path.open("ab") as file:
                file.write(content)
        except OSError as fault:
            raise LedgerFault(
                f"The upload cannot be kept ({fault.strerror}).", remedy="Make room on the disk."
            ) from None

    def refuse_other(self, upload: Upload) -> None:
        """Raise `Stale`, and remove it, where what arrived is not what was to come by its digest."""
        if not upload.sha256:
            return
        with self.body(upload).open("rb") as file:
            arrived = hashlib.file_digest(file, "sha256").hexdigest()
        if arrived != upload.sha256:
            self.remove(upload)
            raise Stale(
                "What arrived is not what was sent; nothing was read.", remedy="Send it anew."
            )

    def remove(self, upload: Upload) -> None:
        """Remove an upload and its bytes."""
        durable.remove_folder(self.folder / upload.id)

    def _forget_old(self) -> None:
        if not self.folder.is_dir():
            return
        for one in self.folder.iterdir():
            body = one / "body"
            newest = (body if body.exists() else one).stat().st_mtime
            if time.time() - newest > KEPT_S and one.name not in self._now:
                durable.remove_folder(one)
