"""Who holds the live store: one program at a time spins, or rescues, on a data folder; others see who."""

from __future__ import annotations

import json
import os
import socket
import threading
import time
from dataclasses import asdict, dataclass, replace
from pathlib import Path

from ...quantities import durable
from ...quantities.errors import LedgerFault
from ...quantities.file_lock import FileLock
from ...quantities.said import Said
from ..stored import stored

BEAT_S = 2.0
SILENT_S = 10.0
"""A program on another machine whose beat stood still so long is gone; on this one the system says it."""

PATIENCE_S = 0.5
"""How long somebody who only looks may be in the way."""


@dataclass(frozen=True)
class Holder:
    """Who holds the live store.

    Attributes
    ----------
    host, name : str
        Its machine, and the program there.
    serial : str
        Of the piece whose spin it is; of the newest where several rigs spin.
    also : tuple of str
        Of the pieces that spin on its other rigs.
    beat : int
        Counts up while it lives.
    """

    host: str
    name: str
    serial: str
    beat: int = 0
    also: tuple[str, ...] = ()

    def spins(self, serial: str) -> bool:
        """Whether a piece is spun there."""
        return serial == self.serial or serial in self.also

    def refusal(self) -> LedgerFault:
        """Return what somebody else is told who wants to spin."""
        return LedgerFault(
            Said(
                "refusal.is_spinning_at_on_the",
                {"value": self.serial or Said("refused_noun.a_piece"), "name": self.name},
            ),
            remedy=Said("remedy.wait_until_that_spin_is_kept"),
        )


class LiveStore:
    """The live store of a data folder, as one program sees it.

    Parameters
    ----------
    folder : Path
        Where captures lie.
    """

    def __init__(self, folder: Path) -> None:
        self._folder = folder
        self._turn = threading.Lock()
        self._lock: FileLock | None = None
        self._held: list[str] = []
        self._mine = Holder("", "", "")
        self._ended = threading.Event()
        self._seen: tuple[Holder | None, float] = (None, 0.0)

    def take(self, serial: str) -> None:
        """Hold it for a piece, as often as it is let go; raises `LedgerFault` when another program does."""
        with self._turn:
            if self._lock is None:
                self._hold(serial)
            self._held.append(serial)
            self._name()

    def _hold(self, serial: str) -> None:
        self._folder.mkdir(parents=True, exist_ok=True)
        until = time.monotonic() + PATIENCE_S
        while (lock := FileLock.take(self._lock_file)) is None and time.monotonic() < until:
            time.sleep(0.05)
        there = self._on_another_machine() if lock else self._written() or _UNKNOWN
        if there is not None or lock is None:
            if lock is not None:
                lock.release()
            raise (there or _UNKNOWN).refusal()
        host = socket.gethostname()
        self._lock, self._mine = lock, Holder(host, f"{host}, process {os.getpid()}", serial)
        self._ended = threading.Event()
        threading.Thread(target=self._beat, args=(self._ended,), daemon=True).start()

    def release(self, serial: str) -> None:
        """Let others have it, as far as a piece is concerned."""
        with self._turn:
            self._held.remove(serial)
            if self._held:
                self._name()
            elif self._lock is not None:
                self._ended.set()
                durable.remove(self._owner_file)
                self._lock.release()
                self._lock = None

    def _name(self) -> None:
        *also, newest = self._held
        self._mine = replace(self._mine, serial=newest, also=tuple(dict.fromkeys(also)))
        self._write()

    def elsewhere(self) -> Holder | None:
        """Return the other program that holds it, or None."""
        if self._lock is not None or not self._owner_file.exists():
            return None
        lock = FileLock.take(self._lock_file, shared=True)
        if lock is None:
            return self._written() or _UNKNOWN
        lock.release()
        return self._on_another_machine()

    @property
    def _lock_file(self) -> Path:
        return self._folder / "owner.lock"

    @property
    def _owner_file(self) -> Path:
        return self._folder / "owner.json"

    def _on_another_machine(self) -> Holder | None:
        """Return the holder on another machine that lives, where a lock does not reach over a share."""
        there = self._written()
        if there is None or there.host == socket.gethostname():
            return None  # it has no lock, so that program is gone
        seen, at = self._seen
        if seen != there:
            self._seen = there, time.monotonic()
            return there
        return there if time.monotonic() - at < SILENT_S else None

    def _written(self) -> Holder | None:
        try:
            content = json.loads(self._owner_file.read_text(encoding="utf-8"))
            return stored(Holder, dict(content), what=self._owner_file.name)
        except (OSError, ValueError, TypeError, LedgerFault):
            return None

    def _beat(self, ended: threading.Event) -> None:
        while not ended.wait(BEAT_S):
            with self._turn:
                if not ended.is_set():
                    self._mine = replace(self._mine, beat=self._mine.beat + 1)
                    self._write()

    def _write(self) -> None:
        """Write who holds it, with no wait for the disk: after a power cut nobody does."""
        part = self._owner_file.with_suffix(".part")
        try:
            part.write_text(json.dumps(asdict(self._mine)), encoding="utf-8")
            durable.replace(part, self._owner_file)
        except OSError:
            return  # a full disk: the lock itself still stands


_UNKNOWN = Holder("", "another program", "")
