"""A recording that is handed in as a file: kept aside while it is read, then in the archive like any other."""

from __future__ import annotations

import hashlib
import shutil
import threading
from collections.abc import Callable, Iterator
from contextlib import contextmanager, suppress
from pathlib import Path
from typing import BinaryIO, Literal

from ...ledger.store.identity import new_id
from ...quantities.durable import make_folder, remove, remove_folder, write_text
from ...quantities.errors import (
    BadInput,
    HeavyspotError,
    LedgerFault,
    SignalTooPoor,
    UnreadableFile,
)
from ...quantities.said import Said
from ...sources.readers import all_readers
from ...sources.sidecar import Stated, sidecar_path
from ..reading import SpinResult
from ..shop import Workshop, find_piece
from .spinning import spin
from .story import cartridge_story


def endings() -> tuple[str, ...]:
    """Return what the name of a recording may end in: what the installed readers say."""
    return tuple(sorted({s for reader in all_readers() for s in reader.suffixes}))


NEW = {
    "file": "a new spin has a new recording.",
    "table": "where a new run really reads the same, state when it was run.",
}


class ReadAlready(BadInput):
    """This very file was read before, for this piece.

    Attributes
    ----------
    number : int
        Of the run it is.
    """

    number: int = 0

    @classmethod
    def as_run(
        cls, serial: str, number: int, what: Literal["file", "table"] = "file"
    ) -> ReadAlready:
        """Return the refusal of a file, or a table, that is that run already."""
        fault = cls(
            f"This very {what} was read already, as run {number} of {serial}.",
            remedy="Look at that run on the story; " + NEW[what],
        )
        fault.number = number
        return fault


def spin_received(
    shop: Workshop,
    serial: str,
    name: str,
    recording: BinaryIO,
    sidecar: BinaryIO | None = None,
    *,
    operator: str = "",
    rig: str = "",
    format: str | None = None,
    stated: Stated | None = None,
    facts: Callable[[Path], str] | None = None,
) -> SpinResult:
    """Read a recording of a piece that was handed in, as `spin` does; once, also over a power cut.

    Parameters
    ----------
    name : str
        What the file is called where it came from; only its ending is used.
    sidecar : binary file, optional
        What its channels are, where the file does not say.
    facts : callable, optional
        Gives the text of a sidecar for the file, now at a path, that came without one; empty for none.

    Raises
    ------
    BadInput
        Its ending is none of a recording.
    ReadAlready
        This very file was read already for this piece.
    UnreadableFile, SignalTooPoor, NotThere, LedgerFault
        As `spin`; nothing is kept.
    """
    ending = Path(name.replace("\\", "/")).suffix.lower()
    if ending not in endings():
        raise BadInput(
            Said("refusal.a_file_that_ends_in", {"value": repr(ending)}),
            remedy=Said("remedy.known", {"known": ", ".join(endings())}),
        )
    piece = find_piece(shop, serial)
    digest = digest_of(recording)
    place = shop.folder / "capture" / "received" / piece.id / digest
    with _one_at_a_time(place):
        if (told := place / READ).exists():
            raise ReadAlready.as_run(serial, int(told.read_text(encoding="utf-8")))
        path = place / f"recording{ending}"
        run_id = _run_of(place)
        try:
            if shop.book.has_entry(run_id):  # a stop between keeping and telling
                raise ReadAlready.as_run(serial, _number_of(shop, serial, run_id))
            _kept_aside(path, recording, sidecar)
            if sidecar is None and facts is not None and (text := facts(path)):
                write_text(sidecar_path(path), text)
            result = spin(
                shop, serial, path, operator=operator, rig=rig, format=format, stated=stated,
                run_id=run_id,
            )  # fmt: skip
        except BaseException as fault:
            remove_folder(place)
            if isinstance(fault, ReadAlready):
                _tell(place, fault.number)
            if isinstance(fault, (UnreadableFile, SignalTooPoor)):
                raise _named(fault, path.name, name) from None
            raise
        _tell(place, result.number)
        return result


def _named(fault: HeavyspotError, here: str, name: str) -> HeavyspotError:
    """Return a fault that calls the file as who handed it in does."""
    theirs = name.replace("\\", "/").rpartition("/")[2]
    return type(fault)(fault.message.replace(here, theirs), remedy=fault.remedy)


def _run_of(place: Path) -> str:
    """Return the identifier of the run that a file becomes; the same however often it is begun."""
    kept = place.with_suffix(".run")
    if kept.exists():
        return kept.read_text(encoding="utf-8")
    make_folder(place.parent)
    made = new_id()
    write_text(kept, made)
    return made


def _number_of(shop: Workshop, serial: str, run_id: str) -> int:
    runs = cartridge_story(shop, serial).runs
    return next((r.number for r in runs if r.entry.id == run_id), len(runs))


def _tell(place: Path, number: int) -> None:
    """Leave the word against a second reading, and nothing else; without it the run's identifier tells."""
    with suppress(OSError):
        make_folder(place)
        write_text(place / READ, str(number))
        for left in place.glob("recording.*"):
            remove(left)


READ = "read"
"""Stands where a file was read, with the run's number in it."""

_now: set[Path] = set()
_guard = threading.Lock()


def digest_of(file: BinaryIO) -> str:
    """Return the SHA-256 of a file from where it stands, and go back to its beginning."""
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
                Said("refusal.this_file_is_being_read"), remedy=Said("remedy.wait_then_look_at_the")
            )
        _now.add(place)
    try:
        yield
    finally:
        with _guard:
            _now.discard(place)


def _kept_aside(path: Path, recording: BinaryIO, sidecar: BinaryIO | None) -> None:
    try:
        remove_folder(path.parent)  # what a power cut left
        make_folder(path.parent)
        for place, content in ((path, recording), (sidecar_path(path), sidecar)):
            if content is not None:
                with place.open("xb") as file:
                    shutil.copyfileobj(content, file)
    except OSError as fault:
        raise LedgerFault(
            Said("refusal.the_recording_cannot_be_kept", {"strerror": str(fault.strerror)}),
            remedy=Said("remedy.make_room_on_the_disk_then"),
        ) from None
