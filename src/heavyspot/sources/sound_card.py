"""Capture through class-compliant interfaces, with sounddevice (PortAudio).

The driver's callback only copies and queues. Lost samples are counted twice over: by the driver's
overrun flag and the device's clock, and against this computer's clock, because some drivers drop
samples without saying so.
"""

from __future__ import annotations

import queue
import time
from collections.abc import Iterator
from dataclasses import dataclass
from importlib.metadata import entry_points
from pathlib import Path
from typing import Annotated, Any

import numpy as np
from pydantic import BaseModel, ConfigDict, Field, ValidationError

from ..quantities.angles import Rotation
from ..quantities.errors import SourceLost, UnreadableFile
from .devices.slow import SlowChannel
from .live import BLOCK_S, Description, LiveBlock, LiveSource
from .sidecar import Sidecar, SidecarChannel, first_fault, parse_sidecar
from .toml_text import read_toml

LATE_S = 0.1
"""Samples that stay behind the computer's clock by more than this are lost, not merely late."""

SETTLE_BLOCKS = 50
"""Blocks (of 20 ms) over which lateness is looked at: a backlog comes faster than real time."""

SILENCE_S = 6.0
"""A device that delivers nothing for so long is taken as gone."""


class RigFile(BaseModel):
    """A rig's capture settings (TOML): device, rate, and its channels in the device's order."""

    model_config = ConfigDict(extra="forbid")
    name: Annotated[str, Field(min_length=1)]
    driver: str = "sound card"
    device: str | int = ""
    settings: dict[str, str | int | float | bool] = {}
    sample_rate_hz: Annotated[float, Field(gt=0, allow_inf_nan=False)]
    rotation: Rotation | None = None
    watch: str = ""
    channel: Annotated[list[SidecarChannel], Field(min_length=2)]
    slow: list[SlowChannel] = []

    def description(self) -> Description:
        """Return what a spin on this rig delivers."""
        sidecar: Sidecar = parse_sidecar(
            {"version": 1, "channels": [c.model_dump() for c in self.channel]}, name=self.name
        )
        return Description(sidecar.as_channels(), self.sample_rate_hz, self.rotation, self.name)


def load_rig_file(path: Path) -> RigFile:
    """Return a checked rig file; raises `UnreadableFile` naming the key at fault."""
    try:
        return RigFile.model_validate(read_toml(path))
    except ValidationError as fault:
        raise UnreadableFile(
            f"{path.name}: {first_fault(fault)}",
            remedy="docs/reference/rig-file.md lists the keys.",
        ) from None


def open_live(rig: RigFile) -> LiveSource:
    """Return the live source of a rig, by its driver's name.

    ``sound card`` is ours; others are found in the entry-point group ``heavyspot.live``: a callable
    that takes the `RigFile`.

    Raises
    ------
    SourceLost
        No such driver is installed.
    """
    if rig.driver == "sound card":
        return SoundCardLive(rig)
    points = {p.name: p for p in entry_points(group="heavyspot.live")}
    if rig.driver not in points:
        names = ", ".join(["sound card", *sorted(points)])
        raise SourceLost(
            f'There is no driver "{rig.driver}".', remedy=f"Installed drivers: {names}."
        )
    made: LiveSource = points[rig.driver].load()(rig)
    return made


@dataclass(frozen=True)
class InputDevice:
    """An input the computer has."""

    index: int
    name: str
    channels: int
    default_rate_hz: float


def input_devices() -> list[InputDevice]:
    """Return the inputs there are; raises `SourceLost` when capture is not installed."""
    found = []
    for i, d in enumerate(_sounddevice().query_devices()):
        if d["max_input_channels"] > 0:
            found.append(
                InputDevice(i, d["name"], d["max_input_channels"], d["default_samplerate"])
            )
    return found


class SoundCardLive:
    """A class-compliant interface.

    Parameters
    ----------
    rig : RigFile
    longest_s : float
        A capture ends by itself after so long, so that a forgotten one cannot fill the disk.
    """

    def __init__(self, rig: RigFile, *, longest_s: float = 600.0) -> None:
        self._rig = rig
        self._description = rig.description()
        self._longest_s = longest_s
        self._queue: queue.SimpleQueue[LiveBlock | None] = queue.SimpleQueue()
        self._stream: Any = None
        self._at = 0
        self._expected: float | None = None
        self._clock = SecondClock()

    def describe(self) -> Description:
        """Return channels, rate and rig as the rig file states them."""
        return self._description

    def open(self) -> None:
        """Open the device and start; raises `SourceLost` when it refuses."""
        sounddevice = _sounddevice()
        rate = self._description.sample_rate_hz
        try:
            self._stream = sounddevice.InputStream(
                device=self._rig.device if self._rig.device != "" else None,
                samplerate=rate,
                channels=len(self._description.channels),
                dtype="float32",
                blocksize=round(BLOCK_S * rate),
                callback=self._take,
                finished_callback=lambda: self._queue.put(None),
            )
            self._stream.start()
        except (sounddevice.PortAudioError, ValueError) as fault:
            raise SourceLost(
                f"The input {self._rig.device!r} cannot be opened at {rate:g} samples a second: {fault}.",
                remedy="`heavyspot devices` lists the inputs; check name, rate and channels.",
            ) from None

    def blocks(self) -> Iterator[LiveBlock]:
        """Yield blocks until closed; raises `SourceLost` when the device falls silent."""
        most = self._longest_s * self._description.sample_rate_hz
        while True:
            try:
                block = self._queue.get(timeout=SILENCE_S)
            except queue.Empty:
                raise SourceLost(
                    f"The input {self._rig.device!r} delivers nothing any more.",
                    remedy="Check its cable and supply. What was captured is kept.",
                ) from None
            if block is None or block.first_sample > most:
                return
            yield block

    def close(self) -> None:
        """Stop the device."""
        stream, self._stream = self._stream, None
        if stream is not None:
            stream.stop()
            stream.close()
        self._queue.put(None)

    def _take(self, data: Any, frames: int, moment: Any, status: Any) -> None:
        rate, now = self._description.sample_rate_hz, time.monotonic()
        lost = 0
        if status.input_overflow:
            late = moment.inputBufferAdcTime - self._expected if self._expected is not None else 0.0
            lost = max(1, round(late * rate))
        self._expected = moment.inputBufferAdcTime + frames / rate
        lost = max(lost, self._clock.lost(now, (self._at + frames) / rate, rate))
        if lost:
            self._clock = SecondClock()
        self._queue.put(LiveBlock(self._at, np.array(data), now, lost))
        self._at += frames + lost


class SecondClock:
    """Compares counted samples with another clock; tells lost ones from late ones."""

    def __init__(self) -> None:
        self._least: float | None = None  # the smallest lateness there ever was
        self._recent: list[float] = []

    def lost(self, now_s: float, counted_s: float, rate_hz: float) -> int:
        """Return how many samples are missing for good; 0 while it may only be a delay.

        Parameters
        ----------
        now_s : float
            The other clock, when the newest sample arrived.
        counted_s : float
            Time by counted samples.
        """
        late = now_s - counted_s
        self._recent.append(late)
        if len(self._recent) < SETTLE_BLOCKS:
            return 0
        least = min(self._recent)
        self._recent = []
        if self._least is not None and least > self._least + LATE_S:
            return round((least - self._least) * rate_hz)
        self._least = least if self._least is None else min(self._least, least)
        return 0


def _sounddevice() -> Any:
    try:
        import sounddevice
    except ImportError:
        raise SourceLost(
            "Capture is not installed.", remedy="Install the extra: pip install heavyspot[capture]."
        ) from None
    except OSError:
        raise SourceLost(
            "PortAudio is not installed.",
            remedy="On Debian, as root: apt-get install libportaudio2.",
        ) from None
    return sounddevice
