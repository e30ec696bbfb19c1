"""Files that survive a power cut: written aside, synced, then put in place; the folder synced after it.

What is read under its own name is whole: an older one stays until the new one is complete.
"""

from __future__ import annotations

import os
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path
from typing import IO, Any

PART = ".part"
"""Ending of a file that is not complete yet."""


def aside(path: Path) -> Path:
    """Return the name under which a file is written until it is complete."""
    return path.with_name(path.name + PART)


def sync_file(path: Path) -> None:
    """Wait until a file's bytes are on the disk."""
    with path.open("rb+") as file:  # some systems sync only what is open for writing
        os.fsync(file.fileno())


def sync_folder(path: Path) -> None:
    """Wait until a folder's names are on the disk; a system that cannot does so by itself."""
    if os.name == "nt":
        return
    descriptor = os.open(path, os.O_RDONLY)
    try:
        os.fsync(descriptor)
    finally:
        os.close(descriptor)


def put(part: Path, path: Path) -> None:
    """Put a file that was written and synced aside in its place."""
    part.replace(path)
    sync_folder(path.parent)


@contextmanager
def writing(path: Path, *, private: bool = False, **how: Any) -> Iterator[IO[Any]]:
    """Give a file to write to; it stands in its place only when everything was written.

    Parameters
    ----------
    private : bool
        Readable by its owner alone from the first moment.
    how
        As for `open`: ``encoding``, ``newline``; bytes are written where no encoding is given.
    """
    part = aside(path)
    mode = "w" if "encoding" in how else "wb"
    try:
        with open(part, mode, opener=_owner_only if private else None, **how) as file:
            yield file
            file.flush()
            os.fsync(file.fileno())
    except BaseException:
        part.unlink(missing_ok=True)
        raise
    put(part, path)


def _owner_only(path: str, flags: int) -> int:
    return os.open(path, flags, 0o600)


def write_bytes(path: Path, content: bytes, *, private: bool = False) -> None:
    """Write a whole file."""
    with writing(path, private=private) as file:
        file.write(content)


def write_text(path: Path, text: str, *, private: bool = False) -> None:
    """Write a whole text file, UTF-8, its line ends as they are."""
    write_bytes(path, text.encode(), private=private)


def write_aside(path: Path, content: bytes) -> Path:
    """Write a whole file aside, synced; returns its name there, for `put` to put in place."""
    part = aside(path)
    with part.open("wb") as file:
        file.write(content)
        file.flush()
        os.fsync(file.fileno())
    return part


def append(path: Path, content: bytes) -> None:
    """Append bytes to a file and wait until they are on the disk."""
    with path.open("ab") as file:
        file.write(content)
        file.flush()
        os.fsync(file.fileno())
