"""Who has a data folder open: many programs at once, or one alone that empties it."""

from __future__ import annotations

from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path

from ..quantities.errors import LedgerFault
from ..quantities.file_lock import FileLock

LOCK = "open.lock"


def hold(folder: Path) -> FileLock:
    """Hold a data folder with others for as long as it is open; raises `LedgerFault` while it is being emptied."""
    try:
        lock = FileLock.take(folder / LOCK, shared=True)
    except OSError as fault:
        raise LedgerFault(
            f"The data folder {folder} cannot be written ({fault.strerror}).",
            remedy="Check its permissions and the disk.",
        ) from None
    if lock is None:
        raise LedgerFault(
            f"{folder} is being emptied by another program.", remedy="Wait a moment, then again."
        )
    return lock


@contextmanager
def alone(folder: Path) -> Iterator[None]:
    """Hold a data folder alone; raises `LedgerFault`, with nothing done, while any program has it open."""
    lock = FileLock.take(folder / LOCK)
    if lock is None:
        raise LedgerFault(
            f"Another program has {folder} open: a server, or a command that runs.",
            remedy="Stop it first; nothing was touched.",
        )
    try:
        yield
    finally:
        lock.release()
