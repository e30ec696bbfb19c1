"""Work that takes minutes: in a thread of its own, with progress that can be looked at, and a way to stop it."""

from __future__ import annotations

import threading
from collections.abc import Callable
from dataclasses import dataclass, field
from typing import Any, Literal

from ...ledger.store.entries import now_utc
from ...ledger.store.identity import new_id
from ...quantities.errors import BadInput, HeavyspotError

Progress = Callable[[int, int], None]
Stop = Callable[[], bool]

KEPT = 50
"""Pieces of work that are remembered once they have ended."""


@dataclass
class Work:
    """One piece of long work.

    Attributes
    ----------
    name, by, at : str
        What it is, who began it, when.
    state : str
    done, total : int
    result : object
        What it returned.
    fault : HeavyspotError or None
    back : str
        Where its page leads when it has ended.
    download : str
        Where what it made can be had; empty for nothing.
    """

    name: str
    by: str
    back: str = "/ledger"
    download: str = ""
    id: str = field(default_factory=new_id)
    at: str = field(default_factory=now_utc)
    state: Literal["running", "done", "stopped", "failed"] = "running"
    done: int = 0
    total: int = 0
    result: Any = None
    fault: HeavyspotError | None = None
    _stop: threading.Event = field(default_factory=threading.Event)
    _thread: threading.Thread | None = None

    @property
    def share(self) -> float:
        """How much is done, from 0 to 1."""
        return self.done / self.total if self.total else float(self.state == "done")

    def progress(self, done: int, total: int) -> None:
        """Say how far it is."""
        self.done, self.total = done, total

    def stop(self) -> None:
        """Ask it to stop where it loses nothing."""
        self._stop.set()

    def stopping(self) -> bool:
        """Whether it was asked to stop."""
        return self._stop.is_set()

    def wait(self, timeout: float | None = None) -> None:
        """Wait until it has ended."""
        if self._thread:
            self._thread.join(timeout)


class LongWork:
    """All long work of one program."""

    def __init__(self) -> None:
        self._works: dict[str, Work] = {}
        self._lock = threading.Lock()

    def begin(
        self, name: str, do: Callable[[Progress, Stop], Any], *, by: str = "", back: str = "/ledger"
    ) -> Work:
        """Begin work in a thread of its own; one of a name at a time.

        Raises
        ------
        BadInput
            Work of that name is running.
        """
        work = Work(name, by, back)
        with self._lock:
            if any(w.name == name and w.state == "running" for w in self._works.values()):
                raise BadInput(
                    f"{name}: this is running already.", remedy="Wait for it, or stop it."
                )
            self._works[work.id] = work
            ended = [w for w in self._works.values() if w.state != "running"]
            for old in ended[: max(0, len(ended) - KEPT)]:
                del self._works[old.id]

        def run() -> None:
            try:
                work.result = do(work.progress, work.stopping)
                work.state = "stopped" if work.stopping() else "done"
            except HeavyspotError as fault:
                work.fault, work.state = fault, "failed"
            except Exception as fault:  # a thread has nobody above it who would say it
                work.fault = HeavyspotError(
                    f"{name} broke off ({type(fault).__name__}: {fault}).", remedy="Begin it again."
                )
                work.state = "failed"

        work._thread = threading.Thread(target=run, name=name, daemon=True)
        work._thread.start()
        return work

    def find(self, id_: str) -> Work | None:
        """Return a piece of work, or None."""
        return self._works.get(id_)

    def all(self) -> list[Work]:
        """Return all work, newest first."""
        return list(self._works.values())[::-1]

    def stop(self) -> None:
        """Ask everything to stop, and wait a moment for it."""
        for work in self.all():
            work.stop()
        for work in self.all():
            work.wait(5)
