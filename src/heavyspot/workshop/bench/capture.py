"""Capturing a spin: to disk first, then to the tracker, then to whoever looks.

One thread takes blocks from the source and writes them to a WAV file at once (`taking.disk_first`); it does nothing
else, so that no screen can make it lose a sample, and on a real rig it is in a process of its own
(`taking.own_process`). Another thread follows with the tracker and leaves a small snapshot ten to twenty times a
second. A capture that is killed leaves a file that reads to its last flushed block, and a description beside it;
`left_behind.unfinished` finds them at the next start. The disk is asked to keep up, so that a power cut
costs a second or two and not the spin.
"""

from __future__ import annotations

import queue
import threading
from collections.abc import Callable, Iterator
from contextlib import suppress
from dataclasses import dataclass, field, replace
from pathlib import Path

import numpy as np
from numpy.typing import NDArray

from ...ledger.store.entries import now_utc
from ...ledger.store.identity import new_id
from ...quantities.errors import LedgerFault
from ...quantities.said import Said
from ...sources.devices.slow import SlowChannels
from ...sources.live import LiveBlock, LiveSource
from ...sources.readers import open_recording
from ...sources.recording import Recording
from ...sources.sound_card import RigFile
from ..taking.disk_first import About, Beside, DiskFirst, Taking, has_samples
from ..taking.following import Figures, Shown, follow
from ..taking.hands_free import HandsFree
from ..taking.oil import NO_OIL, measured_oil
from ..taking.own_process import Order, OwnProcess
from .watch import Seen, Watch


@dataclass(frozen=True)
class Snapshot(Figures):
    """What a screen needs, a few numbers at a time: the newest figures, and what belongs to them.

    Attributes
    ----------
    number : int
        Counts snapshots; a screen asks for the next one.
    lost_samples : int
    curve : ndarray, shape (2, n)
        Speed and amplitude of the run so far, the loudest sensor's at each speed.
    seen : Seen
        What is said of it.
    """

    time_s: float = 0.0
    sampled_at_s: float = 0.0
    number: int = 0
    lost_samples: int = 0
    curve: NDArray[np.float64] = field(default_factory=lambda: np.empty((2, 0)))
    seen: Seen = field(default_factory=Seen)

    def then(self, now: Figures, seen: Seen, *, lost: int, curve: NDArray[np.float64]) -> Snapshot:
        """Return the next one, of these figures."""
        return Snapshot(
            **vars(now), number=self.number + 1, lost_samples=lost, curve=curve, seen=seen
        )


class Capture:
    """One spin being captured.

    Parameters
    ----------
    source : LiveSource
    folder : Path
        Where captures lie until they are in the ledger.
    about : About
        Whose spin it is: ``serial``, ``operator``.
    watch : Watch, optional
        Says what is seen; nothing is said without one.
    apart : RigFile, optional
        The rig that `source` is of: its samples are taken in a process of their own, and `source` only says what
        they are.
    slow : SlowChannels, optional
        Measures the oil at the moment the spin begins; that counts before what was typed.
    """

    def __init__(
        self,
        source: LiveSource,
        folder: Path,
        about: About,
        watch: Watch | None = None,
        *,
        apart: RigFile | None = None,
        slow: SlowChannels | None = None,
    ) -> None:
        self.about = self._about_at_first = about
        self._watch = watch
        self.id = new_id()
        self.description = source.describe()
        self.path = folder / f"{self.id}.wav"
        self.snapshot = Snapshot()
        self.begun = threading.Event()
        self.finished = threading.Event()
        self.hands_free = isinstance(source, HandsFree)
        self._changed = threading.Condition()
        self._queue: queue.SimpleQueue[LiveBlock | None] = queue.SimpleQueue()
        folder.mkdir(parents=True, exist_ok=True)
        beside = self._beside = Beside(about, self.description, now_utc())
        beside.write(self.path)
        self._slow = slow
        self._taking: Taking = (
            DiskFirst(source, self.path, beside, self._took)
            if apart is None
            else OwnProcess(Order(apart, self.path, beside, self.hands_free), self._took)
        )
        self._following = threading.Thread(target=self._follow, name="follow", daemon=True)

    @property
    def error(self) -> str:
        """Why it ended before its source had ended; empty when it did not."""
        return self._taking.error

    @property
    def sampled(self) -> int:
        """Samples that are written."""
        return self._taking.sampled

    @property
    def pid(self) -> int | None:
        """Number of the process that takes the samples; None where it is this one."""
        return self._taking.pid if isinstance(self._taking, OwnProcess) else None

    @property
    def nothing_taken(self) -> bool:
        """Whether there is no sample: none came, none is on the disk that was not passed on."""
        return not self.sampled and not has_samples(self.path)

    def _took(self, block: LiveBlock | None) -> None:
        if block is not None:
            self.begun.set()
        self._queue.put(block)

    def start(self) -> None:
        """Begin; returns at once."""
        self._taking.start()
        self._following.start()

    def stop(self) -> None:
        """Ask the source to stop, and wait until all is written and read."""
        self._taking.stop()
        self.join()

    def join(self, timeout_s: float | None = None) -> None:
        """Wait until the capture has ended by itself or was stopped."""
        self._taking.join(timeout_s)
        self._following.join(timeout_s)
        if self._taking.lost and self._beside.about is not self._about_at_first:
            self._beside.write(self.path, self._taking.lost)

    def begun_or_over(self) -> None:
        """Wait until the first block has come, or none will."""
        while not self.begun.wait(0.05) and self._taking.running:
            pass

    def wait_for(self, number: int, timeout_s: float) -> Snapshot:
        """Return the newest snapshot once its number is above `number`, or after the timeout."""
        with self._changed:
            self._changed.wait_for(
                lambda: self.snapshot.number > number or self.finished.is_set(), timeout_s
            )
        return self.snapshot

    def recording(self) -> Recording:
        """Return what was captured; raises `LedgerFault` while it is still running."""
        if not self.finished.is_set():
            raise LedgerFault(
                Said("refusal.the_spin_is_still_running"), remedy=Said("remedy.stop_it_first")
            )
        return open_recording(self.path)

    def _follow(self) -> None:
        for shown in follow(self.description, self._blocks()):
            if self._watch and shown.drawn:
                self._watch.foresee(*shown.growing.vectors())
            self._publish(shown)
        self.finished.set()
        with self._changed:
            self._changed.notify_all()

    def _blocks(self) -> Iterator[LiveBlock]:
        first = True
        while (block := self._queue.get()) is not None:
            if first:
                self._measure_oil()
                first = False
            yield block

    def _measure_oil(self) -> None:
        """Write down the oil as it is measured now that it begins; a silent instrument leaves what was typed."""
        oil = measured_oil(self._slow)
        if oil == NO_OIL:
            return
        typed = self.about.oil
        both = (
            oil[0] if oil[0] is not None else typed[0],
            oil[1] if oil[1] is not None else typed[1],
        )
        self.about = replace(self.about, oil=both)
        self._beside = replace(self._beside, about=self.about)
        with suppress(OSError):  # the samples go on
            self._beside.write(self.path, self._taking.lost)

    def _publish(self, shown: Shown) -> None:
        now = shown.figures
        seen = Seen()
        if self._watch:
            seen = self._watch.see(now.time_s, now.speed_rpm, now.amplitude_g, now.trusted)
        with self._changed:
            self.snapshot = self.snapshot.then(
                now, seen, lost=self._taking.lost, curve=shown.growing.points()
            )
            self._changed.notify_all()


LiveFactory = Callable[[str], LiveSource]
"""Makes the source for a spin of a piece, by serial."""
