"""Files that survive a power cut: written aside, synced, then put in place; the folder synced after it.

What is read under its own name is whole: an older one stays until the new one is complete.
"""

from __future__ import annotations

import os
import shutil
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path
from typing import IO, Any

from .private import close_to_others

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


def make_folder(path: Path) -> None:
    """Make a folder and those above it, their names on the disk too."""
    if path.is_dir():
        return
    make_folder(path.parent)
    path.mkdir(exist_ok=True)
    sync_folder(path.parent)


def forget(path: Path) -> None:
    """Ask the system to drop what it remembers of a synced file, so that the disk itself is read next."""
    if not hasattr(os, "posix_fadvise"):
        return
    with path.open("rb") as file:
        os.posix_fadvise(file.fileno(), 0, 0, os.POSIX_FADV_DONTNEED)


def copy(source: Path, to: Path, *, private: bool = False) -> None:
    """Copy a file; it stands under its new name only when all of it is on the disk."""
    with source.open("rb") as old, writing(to, private=private) as new:
        shutil.copyfileobj(old, new, 1 << 20)


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
        if private:
            part.unlink(missing_ok=True)
            make_private(part)  # while there is nothing in it
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


def make_private(path: Path) -> None:
    """Make an empty file only its owner may read, before others write into it; one that is there stays as it is."""
    there = path.exists()
    os.close(os.open(path, os.O_RDWR | os.O_CREAT, 0o600))
    if not there:
        close_to_others(path)


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
