"""The archive of recordings and papers: files in the data folder, or at a location of their own.

Every file is written into the data folder first, so that a share or an object store that is away never costs
a run. Where the shop names a location (any URL fsspec knows), files are handed over to it when it is there and
read back from its disk; the file here is kept beside for a week more, and goes when the location still has it then.
"""

from __future__ import annotations

import hashlib
import os
import re
import time
from collections.abc import Callable, Iterator
from pathlib import Path

from ...quantities import durable
from ...quantities.errors import LedgerFault
from .location import Location

KINDS = ("recordings", "papers")
_NAME = re.compile(r"(recordings|papers)(/[A-Za-z0-9][A-Za-z0-9._-]{0,80}){1,6}")

KEPT = "handed-over"
"""Folder, in the data folder, of what was handed over and is kept a while."""

GRACE_S = 7 * 86_400.0
"""How long it is kept there: a disk or a store that loses what it said it had is noticed by then (ours)."""

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
        self._away = Location(self.url) if self.url else None

    def place(self, run_id: str, at: str, ending: str = ".flac") -> Path:
        """Return where a run's recording is written; makes the folder.

        Parameters
        ----------
        at : str
            ISO 8601 time of the run.
        ending : str
            Of its name: another where the run is a table.
        """
        path = self.folder / "recordings" / at[:4] / at[5:7] / f"{run_id}{ending}"
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
        """Return a file's path, fetched when it is elsewhere; raises `LedgerFault` when it is gone or foreign."""
        if not is_name(name):
            raise LedgerFault(
                f"{name!r:.80} is no name of a file of the archive.",
                remedy="Somebody else than the program wrote it; let the ledger be verified.",
            )
        for path in (self.folder / name, self._kept(name)):
            if path.exists():
                return path
        if self._away is None:
            raise LedgerFault(f"{name} is missing.", remedy="Restore it from a backup.")
        return self._fetched(name, self._away)

    def as_written(self, name: str, digest: str, beside: str | None) -> Path:
        """Return a recording's path, as `open`, where it and what stands beside it are as they were written.

        Parameters
        ----------
        digest : str
            SHA-256 of the recording.
        beside : str or None
            Of what says its channels; None where the run was written before there was one.

        Raises
        ------
        LedgerFault
            It is missing or was changed.
        """
        path = self.open(name)
        for one, wanted in ((path, digest), (path.with_suffix(".json"), beside)):
            fault = fault_of(one, wanted) if wanted is not None else ""
            if fault and self._is_fetched(
                path
            ):  # the copy here may be the damaged one: fetched anew next time
                durable.remove(path)
                durable.remove(path.with_suffix(".json"))
            if fault:
                raise LedgerFault(
                    f"{self._named(name, one)} is {fault}: what is read from it would be another run's."
                    if fault == "missing"
                    else f"{self._named(name, one)} was changed after it was written.",
                    remedy="heavyspot verify --recordings names all such files; restore them from a backup.",
                )
        return path

    def _is_fetched(self, path: Path) -> bool:
        return (self.folder / "cache") in path.parents

    @staticmethod
    def _named(name: str, path: Path) -> str:
        return name if path.suffix != ".json" else beside_of(name)

    def exists(self, name: str) -> bool:
        """Whether a file is here, or at the location."""
        if not is_name(name):
            return False
        if (self.folder / name).exists():
            return True
        return self._away is not None and self._away.exists(name)

    def fault(self, name: str, digest: str) -> str:
        """Return what is wrong with a file: ``missing``, ``changed``, ``unreadable``, or nothing."""
        if not is_name(name):
            return "missing"
        path = self.folder / name
        if path.exists():
            return fault_of(path, digest)
        if self._away is None or not self._away.exists(name):
            return "missing"
        return "" if self._away.digest(name) == digest else "changed"

    def remove(self, name: str) -> int:
        """Remove a file and what stands beside it, here and there; returns the bytes that are free."""
        free = 0
        for one in (name, beside_of(name)) if is_name(name) else ():
            here = (self.folder / one).exists()
            for path in (self.folder / one, self._kept(one)):
                if path.exists():
                    free += path.stat().st_size
                    durable.remove(path)
            if self._away is not None and not here:
                free += self._away.remove(one)
        return free

    def waiting(self) -> Iterator[str]:
        """Yield the files that are to be handed over, oldest first; none without a location."""
        for kind in KINDS if self.url else ():
            yield from self._files(self.folder, kind)

    def hand_over(
        self,
        *,
        progress: Callable[[int, int], None] | None = None,
        stop: Callable[[], bool] = lambda: False,
    ) -> int:
        """Hand over what waits, and end the keeping of what went a week ago; returns how many files went.

        Raises
        ------
        LedgerFault
            The location is away, or what it holds does not read back; the file stays here.
        """
        if self._away is None:
            return 0
        self._end_keeping(self._away, stop)
        names = list(self.waiting())
        for done, name in enumerate(names, start=1):
            path, kept = self.folder / name, self._kept(name)
            wanted = digest_of(path)
            self._away.put(path, name)
            if self._away.digest(name) != wanted:
                raise LedgerFault(
                    f"{name} does not read back from {self.url}.",
                    remedy="It stays here; try again.",
                )
            kept.parent.mkdir(parents=True, exist_ok=True)
            os.utime(path)  # from now on it is kept a week
            durable.put(path, kept)
            if progress:
                progress(done, len(names))
            if stop():
                return done
        return len(names)

    def _end_keeping(self, away: Location, stop: Callable[[], bool]) -> None:
        """Remove what went over a week ago and is still there; what is not, is put back to be handed over anew."""
        now = time.time()
        for kind in KINDS:
            for name in self._files(self.folder / KEPT, kind):
                kept = self._kept(name)
                if stop() or abs(now - kept.stat().st_mtime) < GRACE_S:
                    continue
                if away.exists(name) and away.digest(name) == digest_of(kept):
                    durable.remove(kept)
                else:
                    path = self.folder / name
                    path.parent.mkdir(parents=True, exist_ok=True)
                    durable.put(kept, path)

    def _kept(self, name: str) -> Path:
        return self.folder / KEPT / name

    @staticmethod
    def _files(folder: Path, kind: str) -> Iterator[str]:
        for path in sorted((folder / kind).rglob("*")):
            if path.is_file() and path.suffix != durable.PART:
                yield path.relative_to(folder).as_posix()

    def _fetched(self, name: str, away: Location) -> Path:
        path = self.folder / "cache" / name
        if path.exists():
            path.touch()
            return path
        if not away.exists(name):
            raise LedgerFault(f"{name} is missing.", remedy="Restore it from a backup.")
        path.parent.mkdir(parents=True, exist_ok=True)
        for one in (beside_of(name), name):  # the file itself last: then both are there
            if away.exists(one):
                away.get(one, self.folder / "cache" / one)
        self._trim()
        return path

    def _trim(self) -> None:
        """Keep the newest fetched files only."""
        held = [p for p in (self.folder / "cache").rglob("*") if p.is_file()]
        for path in sorted(held, key=lambda p: p.stat().st_mtime)[
            : max(0, len(held) - MOST_CACHED)
        ]:
            durable.remove(path)


def is_name(name: object) -> bool:
    """Whether a text is a name the archive gives a file: it never leads out of its folders."""
    return isinstance(name, str) and _NAME.fullmatch(name) is not None and ".." not in name


def beside_of(name: str) -> str:
    """Return the name of the file that says what a recording's channels are."""
    return name.rsplit(".", 1)[0] + ".json"


def fault_of(path: Path, digest: str) -> str:
    """Return what is wrong with a file here: ``missing``, ``changed``, ``unreadable``, or nothing."""
    try:
        return "" if digest_of(path) == digest else "changed"
    except FileNotFoundError:
        return "missing"
    except OSError:
        return "unreadable"


def digest_of(path: Path) -> str:
    """Return the SHA-256 of a file as 64 hexadecimal digits."""
    with path.open("rb") as file:
        return hashlib.file_digest(file, "sha256").hexdigest()
