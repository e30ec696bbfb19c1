"""The archive of recordings: files in the data folder, each with its digest."""

from __future__ import annotations

import hashlib
from pathlib import Path

from ..quantities.errors import LedgerFault


class Archive:
    """Recordings as ``recordings/<year>/<month>/<run id>.flac``.

    Parameters
    ----------
    folder : Path
        The data folder.
    """

    def __init__(self, folder: Path) -> None:
        self.folder = folder

    def place(self, run_id: str, at: str) -> Path:
        """Return where a run's recording belongs; makes the folder.

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
        """Return the path of a recording; raises `LedgerFault` when it is gone."""
        path = self.folder / name
        if not path.exists():
            raise LedgerFault(
                f"The recording {name} is missing.", remedy="Restore it from a backup."
            )
        return path


def digest_of(path: Path) -> str:
    """Return the SHA-256 of a file as 64 hexadecimal digits."""
    with path.open("rb") as file:
        return hashlib.file_digest(file, "sha256").hexdigest()
