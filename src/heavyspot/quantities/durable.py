"""Files that survive a power cut: written aside, synced, then put in place; the folder synced after it.

What is read under its own name is whole: an older one stays until the new one is complete.

The one place that syncs, renames and removes, because each system wants it otherwise: macOS leaves bytes in the
drive's own memory unless told (``F_FULLFSYNC``), Windows syncs no folder, and refuses to rename or remove what
another program has open: a virus scanner, an indexer, a backup. It is asked again there until that one is done.
"""

from __future__ import annotations

import os
import shutil
import time
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from pathlib import Path
from typing import IO, Any, TypeVar

from . import private as rights

PART = ".part"
"""Ending of a file that is not complete yet."""

PATIENCE_S = 3.0
"""How long another program may have a file open on Windows before it is said."""

T = TypeVar("T")


def _again(what: Callable[[], T]) -> T:
    """Do what Windows refuses while another program has the file open, for as long as that is worth waiting for."""
    until, pause = time.monotonic() + PATIENCE_S, 0.01
    while True:
        try:
            return what()
        except PermissionError:
            if not rights.ON_WINDOWS or time.monotonic() > until:
                raise
        time.sleep(pause)
        pause = min(2 * pause, 0.25)


def _sync(descriptor: int) -> None:
    """Wait until what was written is on the disk itself; a share that cannot be asked so is asked as others are."""
    try:
        import fcntl  # Windows has none

        if (full := getattr(fcntl, "F_FULLFSYNC", None)) is not None:  # macOS
            fcntl.fcntl(descriptor, full)
            return
    except (ImportError, OSError):
        pass
    os.fsync(descriptor)


def aside(path: Path) -> Path:
    """Return the name under which a file is written until it is complete."""
    return path.with_name(path.name + PART)


def sync(file: IO[Any]) -> None:
    """Wait until what was written to an open file is on the disk."""
    file.flush()
    _sync(file.fileno())


def sync_file(path: Path) -> None:
    """Wait until a file's bytes are on the disk."""
    with _again(
        lambda: path.open("rb+")
    ) as file:  # some systems sync only what is open for writing
        _sync(file.fileno())


def sync_folder(path: Path) -> None:
    """Wait until a folder's names are on the disk; a system that cannot does so by itself."""
    if rights.ON_WINDOWS:
        return
    descriptor = os.open(path, os.O_RDONLY)
    try:
        _sync(descriptor)
    finally:
        os.close(descriptor)


def make_folder(path: Path, *, private: bool = False) -> None:
    """Make a folder and those above it, names on the disk too; what comes into a private one is its owner's."""
    if path.is_dir():
        return
    make_folder(path.parent)
    path.mkdir(exist_ok=True)
    if private:
        rights.close_folder_to_others(path)
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
    replace(part, path)
    sync_folder(path.parent)


def replace(path: Path, to: Path) -> None:
    """Give a file another name, in place of what has that name; not synced: `put` is for what must survive."""
    _again(lambda: path.replace(to))


def rename_folder(path: Path, to: Path) -> None:
    """Give a folder another name, in place of an empty one, its name on the disk when this returns."""
    if to.exists():
        _again(to.rmdir)
    _again(lambda: path.rename(to))
    sync_folder(to.parent)


def remove(path: Path) -> None:
    """Remove a file; one that is not there is as good."""
    _again(lambda: path.unlink(missing_ok=True))


def remove_folder(path: Path) -> None:
    """Remove a folder with all that is in it, as far as the system lets go of it."""
    try:
        _again(lambda: shutil.rmtree(path))
    except OSError:  # what cannot go stays: whoever finds it next removes it
        shutil.rmtree(path, ignore_errors=True)


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
            remove(part)
            make_private(part)  # while there is nothing in it
        opener = _owner_only if private else None
        with _again(lambda: open(part, mode, opener=opener, **how)) as file:
            yield file
            sync(file)
    except BaseException:
        remove(part)
        raise
    put(part, path)


def _owner_only(path: str, flags: int) -> int:
    return os.open(path, flags, 0o600)


def make_private(path: Path) -> None:
    """Make an empty file only its owner may read, before others write into it; one that is there stays as it is."""
    there = path.exists()
    os.close(os.open(path, os.O_RDWR | os.O_CREAT, 0o600))
    if not there:
        rights.close_to_others(path)


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
        sync(file)
    return part


def append(path: Path, content: bytes) -> None:
    """Append bytes to a file and wait until they are on the disk."""
    with path.open("ab") as file:
        file.write(content)
        sync(file)
