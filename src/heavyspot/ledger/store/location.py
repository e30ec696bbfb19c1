"""Where recordings lie when not in the data folder: any URL fsspec knows.

What it took is on its disk, and reads back from there.
"""

from __future__ import annotations

import hashlib
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path
from typing import Any

from ...quantities import durable
from ...quantities.errors import LedgerFault

BLOCK = 1 << 20


class Location:
    """A share, a folder or an object store.

    Every method raises `LedgerFault` when it is away.

    Parameters
    ----------
    url : str
    """

    def __init__(self, url: str) -> None:
        self.url = url
        self._fs: Any = None
        self._root = ""
        self._folder = False

    def exists(self, name: str) -> bool:
        """Whether it holds a file."""
        with self._there() as fs:
            return bool(fs.exists(self._at(name)))

    def put(self, path: Path, name: str) -> None:
        """Copy a file to it; when this returns, a power cut here or there does not take it.

        A folder is synced by us, file and names; an object store says that it has a file when it has it.
        """
        with self._there() as fs:
            if self._folder:
                to = Path(self._at(name))
                durable.make_folder(to.parent)
                durable.copy(path, to)
            else:
                fs.makedirs(self._at(name).rsplit("/", 1)[0], exist_ok=True)
                fs.put_file(str(path), self._at(name))

    def digest(self, name: str) -> str:
        """Return the SHA-256 of what it holds, from its disk and not from what this machine remembers."""
        made = hashlib.sha256()
        with self._there() as fs:
            if self._folder:
                durable.forget(Path(self._at(name)))
            with fs.open(self._at(name), "rb") as file:
                while block := file.read(BLOCK):
                    made.update(block)
        return made.hexdigest()

    def get(self, name: str, path: Path) -> None:
        """Fetch a file, whole and on disk when it stands under its name here."""
        part = durable.aside(path)
        with self._there() as fs:
            fs.get_file(self._at(name), str(part))
        durable.sync_file(part)
        durable.put(part, path)

    def remove(self, name: str) -> int:
        """Remove a file; returns the bytes that are free, 0 when it is not there."""
        with self._there() as fs:
            if not fs.exists(self._at(name)):
                return 0
            free = int(fs.size(self._at(name)) or 0)
            if self._folder:
                durable.remove(Path(self._at(name)))
            else:
                fs.rm_file(self._at(name))
            return free

    def _at(self, name: str) -> str:
        return f"{self._root}/{name}"

    @contextmanager
    def _there(self) -> Iterator[Any]:
        try:
            if self._fs is None:
                from fsspec.core import url_to_fs
                from fsspec.implementations.local import LocalFileSystem

                self._fs, self._root = url_to_fs(self.url, use_listings_cache=False)
                self._folder = isinstance(self._fs, LocalFileSystem)
            yield self._fs
        except Exception as fault:  # each kind of location has errors of its own
            raise LedgerFault(
                f"The recordings' location {self.url} cannot be used ({fault}).",
                remedy="Check recordings_url and the way there; new recordings are kept here meanwhile.",
            ) from None
