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
from collections.abc import Callable, Sequence
from contextlib import suppress
from dataclasses import dataclass, field, replace
from pathlib import Path
from typing import Any

import numpy as np
from numpy.typing import NDArray

from ...ledger.store.entries import now_utc
from ...ledger.store.identity import new_id
from ...quantities.errors import LedgerFault
from ...quantities.said import Said
from ...signal.curve import read_curves
from ...signal.mark.reference import ReferenceSettings
from ...signal.phase import PhasedBlocks, phased_blocks
from ...signal.tracker import Track, Tracker
from ...sources.devices.slow import SlowChannels
from ...sources.live import LiveBlock, LiveSource
from ...sources.readers import open_recording
from ...sources.recording import SUPPORT_QUANTITIES, Channel, Recording
from ...sources.sound_card import RigFile
from ..taking.disk_first import About, Beside, DiskFirst, Taking, has_samples
from ..taking.hands_free import HandsFree
from ..taking.own_process import Order, OwnProcess
from .set_up import NO_OIL, measured_oil
from .watch import Seen, Watch

SNAPSHOT_S = 0.06
CURVE_S = 0.25
LOOK_BACK_S = 1.5
"""How far back of what was read before the curve is read anew; older points stay as they are."""

SETTLED_S = 0.3
"""Points nearer than this to the beginning of what is read anew are left as they were."""


@dataclass(frozen=True)
class Snapshot:
    """What a screen needs, a few numbers at a time.

    Attributes
    ----------
    number : int
        Counts snapshots; a screen asks for the next one.
    time_s : float
        Since the capture began.
    speed_rpm, amplitude_g, angle_deg, overall_g : float
        Now, of the loudest sensor; NaN while there is no trusted speed.
    pickup : float
        Amplitude of the pickup's fundamental, share of its full scale.
    curve : ndarray, shape (2, n)
        Speed and amplitude of the run so far, the loudest sensor's at each speed.
    sampled_at_s : float
        Monotonic time at which the newest sample in it was complete.
    seen : Seen
        What is said of it.
    """

    number: int = 0
    time_s: float = 0.0
    speed_rpm: float = float("nan")
    amplitude_g: float = float("nan")
    angle_deg: float = float("nan")
    overall_g: float = float("nan")
    pickup: float = 0.0
    lost_samples: int = 0
    curve: NDArray[np.float64] = field(default_factory=lambda: np.empty((2, 0)))
    sampled_at_s: float = 0.0
    seen: Seen = field(default_factory=Seen)


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
        d = self.description
        phase = next(i for i, c in enumerate(d.channels) if c.quantity == "phase")
        shown_channels = _followed(d.channels)
        scale = np.array([_scale(d.channels[i]) for i in shown_channels])
        tracker = Tracker(
            sample_rate_hz=d.sample_rate_hz,
            phase_channel=phase,
            vibration_channels=shown_channels,
            reference=d.channels[phase].reference or ReferenceSettings(),
            frame_windows=1,
        )
        growing = GrowingCurve(scale)
        shown = drawn = 0.0
        newest: LiveBlock | None = None
        while (block := self._queue.get()) is not None:
            if newest is None:
                self._measure_oil()
            newest = block
            tracker.feed(block.data)
            if block.host_time_s - shown >= SNAPSHOT_S:
                shown = block.host_time_s
                track = tracker.so_far()
                if shown - drawn >= CURVE_S:
                    drawn = shown
                    growing.read(track)
                    if self._watch:
                        self._watch.foresee(*growing.vectors())
                self._publish(
                    phased_blocks(track.since(track.turns.size - 80), scale=scale), growing, block
                )
        if newest is not None:  # the end of the spin is shown too
            track = tracker.so_far()
            growing.read(track)
            self._publish(phased_blocks(track, scale=scale), growing, newest)
        self.finished.set()
        with self._changed:
            self._changed.notify_all()

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

    def _publish(self, b: PhasedBlocks, growing: GrowingCurve, block: LiveBlock) -> None:
        now = slice(max(0, b.speed_rpm.size - 8), None)
        trusted = b.trusted[now]
        values: dict[str, Any] = {}
        if trusted.any():
            each = b.vectors[:, now, 1][:, trusted].mean(axis=1)
            i = int(np.abs(each).argmax())  # the loudest sensor: a pass needs all of them
            vector = complex(each[i])
            power = float(b.power[i, now][trusted].mean() - b.mean[i, now][trusted].mean() ** 2)
            values = {
                "speed_rpm": float(b.speed_rpm[now][trusted][-1]),
                "amplitude_g": abs(vector),
                "angle_deg": float(np.rad2deg(np.angle(vector)) % 360),
                "overall_g": float(np.sqrt(max(power, 0.0))),
                "pickup": float(np.nan_to_num(b.reference_amplitude[now][trusted][-1])),
            }
        rate = self.description.sample_rate_hz
        time_s = (block.first_sample + block.data.shape[0]) / rate
        seen = Seen()
        if self._watch:
            share = float(trusted.mean()) if trusted.size else 0.0
            speed, g = values.get("speed_rpm", np.nan), values.get("amplitude_g", np.nan)
            seen = self._watch.see(time_s, speed, g, share)
        with self._changed:
            self.snapshot = Snapshot(
                number=self.snapshot.number + 1,
                time_s=time_s,
                seen=seen,
                lost_samples=self._taking.lost,
                curve=growing.points(),
                sampled_at_s=block.host_time_s,
                **values,
            )
            self._changed.notify_all()


def _followed(channels: Sequence[Channel]) -> tuple[int, ...]:
    """Return the channels that are shown while it turns: every accelerometer, or the first support."""
    first = next(i for i, c in enumerate(channels) if c.quantity in SUPPORT_QUANTITIES)
    if channels[first].quantity != "acceleration":
        return (first,)
    return tuple(i for i, c in enumerate(channels) if c.quantity == "acceleration")


def _scale(channel: Channel) -> float:
    """Return what a stored value is, in g, or in the unit of a support."""
    if channel.quantity == "acceleration":
        return channel.g_per_stored
    return channel.per_stored[0]


class GrowingCurve:
    """The curve of a spin that still runs, the loudest sensor's at each speed.

    Only its last seconds are read anew each time.
    """

    def __init__(self, scale: NDArray[np.float64]) -> None:
        self._scale = scale
        self._points: dict[str, dict[float, float]] = {"up": {}, "down": {}}
        self._first: dict[float, complex] = {}
        self._read_until = 0

    def read(self, track: Track) -> None:
        """Read the end of a growing track."""
        start = max(0, self._read_until - round(LOOK_BACK_S / track.block_s))
        self._read_until = track.turns.size
        from_s = SETTLED_S if start else 0.0
        for curve in read_curves(track.since(start), scale=self._scale).curves:
            kept = self._points[curve.direction]
            amplitude = np.abs(curve.vector).max(axis=0)
            for speed, g, at in zip(curve.speed_rpm, amplitude, curve.time_s, strict=True):
                if at >= from_s:
                    kept[float(speed)] = float(g)
            if curve.direction == "up":
                new = zip(curve.speed_rpm, curve.vector[0], curve.time_s, strict=True)
                self._first |= {float(s): complex(v) for s, v, at in new if at >= from_s}

    def vectors(self) -> tuple[NDArray[np.float64], NDArray[np.complex128]]:
        """Return speeds, ascending, and the first sensor's vector there, of the way up; (n,) each."""
        at = sorted(self._first.items())
        return np.array([s for s, _ in at]), np.array([v for _, v in at], complex)

    def points(self) -> NDArray[np.float64]:
        """Return speed and amplitude, (2, n), of the direction that has more points."""
        kept = max(self._points.values(), key=len)
        if not kept:
            return np.empty((2, 0))
        return np.array(sorted(kept.items())).T


LiveFactory = Callable[[str], LiveSource]
"""Makes the source for a spin of a piece, by serial."""
