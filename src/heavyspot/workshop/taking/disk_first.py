"""Samples go to the disk first: one thread takes them and writes, one asks the disk to keep up.

Light on purpose: a process of its own begins with this and the driver alone.
"""

from __future__ import annotations

import json
import threading
from collections.abc import Callable
from dataclasses import asdict, dataclass
from itertools import chain
from pathlib import Path
from typing import Protocol

from ...quantities.durable import sync_file, sync_folder, write_text
from ...quantities.errors import HeavyspotError
from ...sources.live import Description, LiveBlock, LiveSource
from ...sources.sidecar import describe

FLUSH_S = 0.25
SYNC_S = 1.0


@dataclass(frozen=True)
class About:
    """Whose a capture is: serial, operator, oil temperature in °C and pressure in kPa."""

    serial: str
    operator: str = ""
    oil: tuple[float | None, float | None] = (None, None)


@dataclass(frozen=True)
class Beside:
    """What stands beside a capture's samples: whose they are, what its channels are, since when (UTC, ISO 8601)."""

    about: About
    description: Description
    begun_at: str

    def write(self, path: Path, lost: int = 0) -> None:
        """Write it beside a capture; raises `OSError` when the disk refuses."""
        d = self.description
        content = describe(
            d.channels,
            sample_rate_hz=round(d.sample_rate_hz),
            rotation=d.rotation,
            recorded_at=self.begun_at,
            rig=d.rig,
            operator=self.about.operator,
            oil=self.about.oil,
            lost_samples=lost,
        )
        write_text(path.with_suffix(".json"), json.dumps(content))
        write_text(path.with_suffix(".about"), json.dumps(asdict(self.about)))


HEADER_BYTES = 44
"""Of a WAV file without samples."""


def has_samples(path: Path) -> bool:
    """Whether a capture's file is there and holds more than its header."""
    return path.exists() and path.stat().st_size > HEADER_BYTES


Give = Callable[[LiveBlock | None], None]
"""Takes each block that is written, None after the last; never waits."""


class Taking(Protocol):
    """Who takes a spin's samples to the disk.

    Attributes
    ----------
    error : str
        Why it ended before its source had ended; empty when it did not.
    sampled, lost : int
        Samples that are written, and those the device says it lost.
    """

    error: str
    sampled: int
    lost: int

    @property
    def running(self) -> bool:
        """Whether samples may still come."""
        ...

    def start(self) -> None:
        """Begin; returns at once."""
        ...

    def stop(self) -> None:
        """Ask it to end; returns at once."""
        ...

    def join(self, timeout_s: float | None = None) -> None:
        """Wait until all that came is on the disk."""
        ...


class DiskFirst:
    """Takes a source's blocks to the disk in two threads of this process.

    Parameters
    ----------
    source : LiveSource
    path : Path
        The file; what stands beside it is there already.
    beside : Beside
        Written anew at the end where samples were lost.
    give : callable
        Gets each block when it is written.
    """

    def __init__(self, source: LiveSource, path: Path, beside: Beside, give: Give) -> None:
        self.error = ""
        self.sampled = self.lost = 0
        self._source, self._path, self._beside, self._give = source, path, beside, give
        self._stopping, self._written = threading.Event(), threading.Event()
        self._threads = (
            threading.Thread(target=self._acquire, name="acquire", daemon=True),
            threading.Thread(target=self._sync, name="sync", daemon=True),
        )

    @property
    def running(self) -> bool:
        """Whether samples may still come."""
        return self._threads[0].is_alive()

    def start(self) -> None:
        """Begin; returns at once."""
        for thread in self._threads:
            thread.start()

    def stop(self) -> None:
        """Ask the source to stop."""
        self._stopping.set()
        self._source.close()

    def join(self, timeout_s: float | None = None) -> None:
        """Wait until all that came is on the disk."""
        for thread in self._threads:
            thread.join(timeout_s)

    def _acquire(self) -> None:
        import soundfile

        d = self._beside.description
        try:
            self._source.open()
            if (
                self._stopping.is_set()
            ):  # stopped before it was open: a later close would be waited for in vain
                return
            blocks = self._source.blocks()
            first = next(blocks, None)
            if first is None:  # armed, and never begun: there is nothing to read
                return
            with soundfile.SoundFile(
                self._path, "w", round(d.sample_rate_hz), len(d.channels), "PCM_24", format="WAV"
            ) as file:
                flushed = 0
                for block in chain([first], blocks):
                    file.write(block.data)
                    flushed += block.data.shape[0]
                    self.sampled += block.data.shape[0]
                    if flushed >= FLUSH_S * d.sample_rate_hz:
                        file.flush()  # rewrites the header too: a killed capture reads to here
                        flushed = 0
                    self.lost += block.lost
                    self._give(block)
        except HeavyspotError as fault:
            self.error = str(fault)
        except Exception as fault:  # a driver of somebody's own may raise anything
            self.error = f"Capturing stopped: {fault}."
        finally:
            self._source.close()
            self._give(None)
            self._written.set()

    def _sync(self) -> None:
        """Ask the disk to keep up with the spin; when it has ended, wait for it."""
        ended = False
        while not ended:
            ended = self._written.wait(SYNC_S)
            try:
                if self._path.exists():
                    sync_file(self._path)
                    sync_folder(self._path.parent)
                if ended and self.lost:
                    self._beside.write(self._path, self.lost)
            except OSError as fault:
                self.error = self.error or f"The disk refuses the spin's samples: {fault}."
