"""A file that one program holds alone, or several together; the system lets go when a program ends, in any way."""

from __future__ import annotations

import os
import secrets
import sys
from pathlib import Path

_SPAN = 1 << 30
"""Bytes that are locked where a system locks bytes: all of them to hold alone, one of them to hold with others."""


class FileLock:
    """A held file; made by `take`, let go with `release` or with the value itself."""

    def __init__(self, descriptor: int) -> None:
        self._descriptor = descriptor

    @classmethod
    def take(cls, path: Path, *, shared: bool = False) -> FileLock | None:
        """Hold a file, made when it is not there; None when another program, or another holder here, has it.

        Parameters
        ----------
        shared : bool
            Others may hold it too, if they share it.

        Raises
        ------
        OSError
            The file cannot be made.
        """
        descriptor = os.open(path, os.O_RDWR | os.O_CREAT | getattr(os, "O_CLOEXEC", 0), 0o600)
        if _locked(descriptor, shared):
            return cls(descriptor)
        os.close(descriptor)
        return None

    def release(self) -> None:
        """Let go; safe to call twice."""
        descriptor, self._descriptor = self._descriptor, -1
        if descriptor >= 0:
            os.close(descriptor)

    def __del__(self) -> None:
        self.release()


if sys.platform == "win32":
    import msvcrt

    def _locked(descriptor: int, shared: bool) -> bool:
        os.lseek(descriptor, secrets.randbelow(_SPAN) if shared else 0, os.SEEK_SET)
        try:
            msvcrt.locking(descriptor, msvcrt.LK_NBLCK, 1 if shared else _SPAN)
        except OSError:
            return False
        return True

else:
    import errno
    import fcntl

    def _locked(descriptor: int, shared: bool) -> bool:
        try:
            fcntl.flock(descriptor, (fcntl.LOCK_SH if shared else fcntl.LOCK_EX) | fcntl.LOCK_NB)
        except OSError as fault:
            # a file system without locks is no reason to stop the work
            return fault.errno not in (errno.EWOULDBLOCK, errno.EACCES)
        return True
