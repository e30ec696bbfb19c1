"""The archive of recordings and papers: files in the data folder, or at a location of their own.

Every file is written into the data folder first, so that a share or an object store that is away never costs
a run. Where the shop names a location (any URL fsspec knows), files are handed over to it when it is there,
read back and compared, and only then removed here.
"""

from __future__ import annotations

import hashlib
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from pathlib import Path
from typing import Any

from ...quantities import durable
from ...quantities.errors import LedgerFault

KINDS = ("recordings", "papers")
BLOCK = 1 << 20
MOST_CACHED = 200
"""Files fetched from the location that are kept here for the next look."""


class Archive:
    """Files as ``recordings/<year>/<month>/<run id>.flac`` and ``papers/...``.

    Parameters
    ----------
    folder : Path
        The data folder.
    url : str
        Where files are handed over to; empty: they stay in the data folder.
    """

    def __init__(self, folder: Path, url: str = "") -> None:
        self.folder, self.url = folder, url.rstrip("/")
        self._fs: Any = None
        self._root = ""

    def place(self, run_id: str, at: str) -> Path:
        """Return where a run's recording is written; makes the folder.

        Parameters
        ----------
        at : str
            ISO 8601 time of the run.
        """
        path = self.folder / "recordings" / at[:4] / at[5:7] / f"{run_id}.flac"
        try:
            path.parent.mkdir(parents=True, exist_ok=True)
        except OSError as fault:
            raise LedgerFault(
                f"{path.parent} cannot be made ({fault.strerror}).",
                remedy="Check the disk and the folder's permissions.",
            ) from None
        return path

    def name_of(self, path: Path) -> str:
        """Return the name under which the ledger knows the file."""
        return path.relative_to(self.folder).as_posix()

    def open(self, name: str) -> Path:
        """Return the path of a file, fetched when it is elsewhere; raises `LedgerFault` when it is gone."""
        path = self.folder / name
        if path.exists():
            return path
        if not self.url:
            raise LedgerFault(f"{name} is missing.", remedy="Restore it from a backup.")
        return self._fetched(name)

    def exists(self, name: str) -> bool:
        """Whether a file is here, or at the location."""
        if (self.folder / name).exists() or not self.url:
            return (self.folder / name).exists()
        with self._location() as fs:
            return bool(fs.exists(self._at(name)))

    def fault(self, name: str, digest: str) -> str:
        """Return what is wrong with a file: ``missing``, ``changed``, or nothing."""
        path = self.folder / name
        if path.exists():
            return "" if digest_of(path) == digest else "changed"
        if not self.exists(name):
            return "missing"
        return "" if self._away_digest(name) == digest else "changed"

    def remove(self, name: str) -> int:
        """Remove a file and what stands beside it, here and there; returns the bytes that are free."""
        free = 0
        for one in (name, _beside(name)):
            path = self.folder / one
            if path.exists():
                free += path.stat().st_size
                path.unlink()
            elif self.url:
                with self._location() as fs:
                    if fs.exists(self._at(one)):
                        free += int(fs.size(self._at(one)) or 0)
                        fs.rm_file(self._at(one))
        return free

    def waiting(self) -> Iterator[str]:
        """Yield the files that are to be handed over, oldest first; none without a location."""
        for kind in KINDS if self.url else ():
            for path in sorted((self.folder / kind).rglob("*")):
                if path.is_file() and path.suffix != durable.PART:
                    yield self.name_of(path)

    def hand_over(
        self,
        *,
        progress: Callable[[int, int], None] | None = None,
        stop: Callable[[], bool] = lambda: False,
    ) -> int:
        """Hand over what waits; returns how many files went.

        Raises
        ------
        LedgerFault
            The location is away, or what it holds does not read back; the file stays here.
        """
        names = list(self.waiting())
        for done, name in enumerate(names, start=1):
            path = self.folder / name
            wanted = digest_of(path)
            with self._location() as fs:
                fs.makedirs(self._at(name).rsplit("/", 1)[0], exist_ok=True)
                fs.put_file(str(path), self._at(name))
            if self._away_digest(name) != wanted:
                raise LedgerFault(
                    f"{name} does not read back from {self.url}.",
                    remedy="It stays here; try again.",
                )
            path.unlink()
            if progress:
                progress(done, len(names))
            if stop():
                return done
        return len(names)

    def _at(self, name: str) -> str:
        return f"{self._root}/{name}"

    @contextmanager
    def _location(self) -> Iterator[Any]:
        """Give the location's file system; raises `LedgerFault` when it is away."""
        try:
            if self._fs is None:
                from fsspec.core import url_to_fs

                self._fs, self._root = url_to_fs(self.url, use_listings_cache=False)
            yield self._fs
        except Exception as fault:  # each kind of location has errors of its own
            raise LedgerFault(
                f"The recordings' location {self.url} cannot be used ({fault}).",
                remedy="Check recordings_url and the way there; new recordings are kept here meanwhile.",
            ) from None

    def _away_digest(self, name: str) -> str:
        with self._location() as fs, fs.open(self._at(name), "rb") as file:
            made = hashlib.sha256()
            while block := file.read(BLOCK):
                made.update(block)
        return made.hexdigest()

    def _fetched(self, name: str) -> Path:
        path = self.folder / "cache" / name
        if path.exists():
            path.touch()
            return path
        if not self.exists(name):
            raise LedgerFault(f"{name} is missing.", remedy="Restore it from a backup.")
        path.parent.mkdir(parents=True, exist_ok=True)
        for one in (_beside(name), name):  # the file itself last: then both are there
            to = self.folder / "cache" / one
            part = durable.aside(to)
            with self._location() as fs:
                if fs.exists(self._at(one)):
                    fs.get_file(self._at(one), str(part))
                    durable.sync_file(part)
                    durable.put(part, to)
        self._trim()
        return path

    def _trim(self) -> None:
        """Keep the newest fetched files only."""
        held = [p for p in (self.folder / "cache").rglob("*") if p.is_file()]
        for path in sorted(held, key=lambda p: p.stat().st_mtime)[
            : max(0, len(held) - MOST_CACHED)
        ]:
            path.unlink(missing_ok=True)


def _beside(name: str) -> str:
    """Return the name of the file that says what a recording's channels are."""
    return name.rsplit(".", 1)[0] + ".json"


def digest_of(path: Path) -> str:
    """Return the SHA-256 of a file as 64 hexadecimal digits."""
    with path.open("rb") as file:
        return hashlib.file_digest(file, "sha256").hexdigest()
