"""A recording that is handed in as a file: kept aside while it is read, then in the archive like any other."""

from __future__ import annotations

import hashlib
import shutil
import threading
from collections.abc import Iterator
from contextlib import contextmanager, suppress
from pathlib import Path
from typing import BinaryIO

from ...quantities.durable import make_folder, write_text
from ...quantities.errors import BadInput, LedgerFault
from ...sources.readers import all_readers
from ...sources.sidecar import sidecar_path
from ..reading import SpinResult
from ..shop import Workshop, find_piece
from .spinning import spin


def endings() -> tuple[str, ...]:
    """Return what the name of a recording may end in: what the installed readers say."""
    return tuple(sorted({s for reader in all_readers() for s in reader.suffixes}))


def spin_received(
    shop: Workshop,
    serial: str,
    name: str,
    recording: BinaryIO,
    sidecar: BinaryIO | None = None,
    *,
    operator: str = "",
    rig: str = "",
) -> SpinResult:
    """Read a recording of a piece that was handed in, as `spin` does.

    Parameters
    ----------
    name : str
        What the file is called where it came from; only its ending is used.
    sidecar : binary file, optional
        What its channels are, where the file does not say.

    Raises
    ------
    BadInput
        Its ending is none of a recording, or this very file was read already for this piece.
    UnreadableFile, SignalTooPoor, NotThere, LedgerFault
        As `spin`; nothing is kept.
    """
    ending = Path(name.replace("\\", "/")).suffix.lower()
    if ending not in endings():
        raise BadInput(
            f"A file that ends in {ending or 'nothing'!r} is no recording that can be read.",
            remedy="Known: " + ", ".join(endings()) + ".",
        )
    piece = find_piece(shop, serial)
    digest = _digest_of(recording)
    place = shop.folder / "capture" / "received" / piece.id / digest
    with _one_at_a_time(place):
        if (told := place / READ).exists():
            number = told.read_text(encoding="utf-8")
            raise BadInput(
                f"This very file was read already, as run {number} of {serial}.",
                remedy="Look at that run on the story; a new spin has a new recording.",
            )
        path = place / f"recording{ending}"
        try:
            _kept_aside(path, recording, sidecar)
            result = spin(shop, serial, path, operator=operator, rig=rig)
        except BaseException:
            shutil.rmtree(place, ignore_errors=True)
            raise
        with suppress(OSError):  # the run is written; only the word against a second one is lost
            write_text(told, str(result.number))
            path.unlink()
            sidecar_path(path).unlink(missing_ok=True)
        return result


READ = "read"
"""Stands where a file was read, with the run's number in it."""

_now: set[Path] = set()
_guard = threading.Lock()


def _digest_of(file: BinaryIO) -> str:
    digest = hashlib.sha256()
    while block := file.read(1 << 20):
        digest.update(block)
    file.seek(0)
    return digest.hexdigest()


@contextmanager
def _one_at_a_time(place: Path) -> Iterator[None]:
    """Let nobody else read the same file meanwhile: a form pressed twice is read once."""
    with _guard:
        if place in _now:
            raise BadInput(
                "This file is being read just now.", remedy="Wait, then look at the bench."
            )
        _now.add(place)
    try:
        yield
    finally:
        with _guard:
            _now.discard(place)


def _kept_aside(path: Path, recording: BinaryIO, sidecar: BinaryIO | None) -> None:
    try:
        shutil.rmtree(path.parent, ignore_errors=True)  # what a power cut left
        make_folder(path.parent)
        for place, content in ((path, recording), (sidecar_path(path), sidecar)):
            if content is not None:
                with place.open("xb") as file:
                    shutil.copyfileobj(content, file)
    except OSError as fault:
        raise LedgerFault(
            f"The recording cannot be kept ({fault.strerror}); nothing was read.",
            remedy="Make room on the disk, then hand it in again.",
        ) from None
