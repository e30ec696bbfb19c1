"""Files that are their owner's alone: by mode where there are modes, by an access list on Windows.

There the list is set by ``icacls``, which comes with Windows, while the file is still empty. Who may read it then:
whoever made it, and the system itself.
"""

from __future__ import annotations

import contextlib
import getpass
import os
import subprocess
import sys
import tempfile
from collections.abc import Iterable, Sequence
from pathlib import Path

SYSTEM = "*S-1-5-18"
"""The system's own account, by its number: its name is another in each language."""

EVERYBODY = (";;;WD)", ";;;BU)", ";;;AU)", ";;;BG)", ";;;AN)")
"""How an access list (SDDL) names everyone, users, who is logged in, guests and nobody in particular."""

ON_WINDOWS = os.name == "nt"

THIS_SYSTEM = {"win32": "windows", "darwin": "macos"}.get(sys.platform, "linux")
"""Name of the system this runs on: what a service is made for."""


def close_to_others(path: Path) -> None:
    """Let nobody but its owner read a file that is there; what a file system without such rights leaves is left."""
    if ON_WINDOWS:
        with contextlib.suppress(OSError, subprocess.SubprocessError):
            _icacls([str(path), "/inheritance:r", "/grant:r", f"{_me()}:F", f"{SYSTEM}:F"])
    else:
        path.chmod(0o600)


def close_folder_to_others(path: Path) -> None:
    """Let what is made in a new folder be its owner's alone, where files get their rights from their folder.

    That is so on Windows: what SQLite lays beside a ledger would else be everybody's who may read the folder.
    Elsewhere files are closed one by one, and a folder may stay open.
    """
    if ON_WINDOWS:
        rights = "(OI)(CI)F"  # for it, and for files and folders in it
        with contextlib.suppress(OSError, subprocess.SubprocessError):
            _icacls(
                [str(path), "/inheritance:r", "/grant:r", f"{_me()}:{rights}", f"{SYSTEM}:{rights}"]
            )


def open_to_others(paths: Iterable[Path]) -> list[Path]:
    """Return those of some files that others on this computer may read."""
    there = [p for p in paths if p.is_file()]
    return [p for p in there if (_listed(p) if ON_WINDOWS else _by_mode(p))]


def _by_mode(path: Path) -> bool:
    """Whether mode and folders let others at it; a folder nobody else may enter keeps what is in it."""
    if not path.stat().st_mode & 0o077:
        return False
    return all(folder.stat().st_mode & 0o011 for folder in path.absolute().parents)


def _listed(path: Path) -> bool:
    with tempfile.TemporaryDirectory(ignore_cleanup_errors=True) as folder:
        saved = Path(folder) / "list"
        try:
            _icacls([str(path), "/save", str(saved)])
            words = saved.read_bytes().decode("utf-16-le", errors="replace")
        except (OSError, subprocess.SubprocessError):
            return False
    return any(part in words for part in EVERYBODY)


def _me() -> str:
    domain = os.environ.get("USERDOMAIN", "")
    return f"{domain}\\{getpass.getuser()}" if domain else getpass.getuser()


def _icacls(words: Sequence[str]) -> None:
    subprocess.run(["icacls", *words], check=True, capture_output=True, timeout=30)
