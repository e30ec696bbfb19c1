"""Slow channels: serial instruments that write a line now and then: a tachometer, oil temperature and pressure.

Each value has its time. One that is old, or a line that is not understood, is no value: a silent instrument is not
measured, and never its last value.
"""

from __future__ import annotations

import math
import re
import threading
import time
from collections.abc import Callable, Sequence
from dataclasses import dataclass
from typing import Annotated, Any, Literal, Self

from pydantic import BaseModel, ConfigDict, Field, model_validator

from ...quantities.errors import SourceLost

LONGEST_LINE = 256
AGAIN_S = 2.0

Quantity = Literal["oil temperature", "oil pressure", "speed"]

UNITS: dict[str, dict[str, tuple[float, float]]] = {
    "oil temperature": {"°C": (1.0, 0.0), "K": (1.0, -273.15), "°F": (5 / 9, -160 / 9)},
    "oil pressure": {
        "kPa": (1.0, 0.0),
        "bar": (100.0, 0.0),
        "psi": (6.894757, 0.0),
        "MPa": (1000.0, 0.0),
    },
    "speed": {"rpm": (1.0, 0.0), "Hz": (60.0, 0.0)},
}
"""Quantity to unit to what makes it ours (°C, kPa, rpm): factor, and what is added. psi: NIST SP 811."""

LIMITS = {
    "oil temperature": (-40.0, 250.0),
    "oil pressure": (0.0, 2000.0),
    "speed": (0.0, 500_000.0),
}
"""Outside these it is no measurement but a broken wire or a garbled line (common practice, no source)."""


class SlowChannel(BaseModel):
    """``[[slow]]`` of a rig file: an instrument on a serial port, and how its lines are read.

    `line` is a regular expression with one group named ``value``; a whole line has to match it. `ask` is sent
    before each value, to an instrument that speaks only when asked.
    """

    model_config = ConfigDict(extra="forbid")
    name: Annotated[str, Field(min_length=1)]
    quantity: Quantity
    unit: str
    port: Annotated[str, Field(min_length=1)]
    baud: Annotated[int, Field(ge=300, le=4_000_000)] = 9600
    line: str
    ask: str = ""
    every_s: Annotated[float, Field(ge=0.05, le=60)] = 0.5
    stale_s: Annotated[float, Field(gt=0, le=60)] = 3.0

    @model_validator(mode="after")
    def _understood(self) -> Self:
        if self.unit not in UNITS[self.quantity]:
            known = ", ".join(UNITS[self.quantity])
            raise ValueError(f"unit {self.unit} is none of {self.quantity}: {known}")
        try:
            groups = re.compile(self.line).groupindex
        except re.error as fault:
            raise ValueError(f"line is no regular expression ({fault})") from None
        if "value" not in groups:
            raise ValueError("line has no group (?P<value>...)")
        return self

    def read(self, text: str) -> float | None:
        """Return the value a line says, in °C, kPa or rpm; None where it says none that can be."""
        found = re.fullmatch(self.line, text.strip())
        if found is None:
            return None
        try:
            stated = float(found["value"])
        except (ValueError, TypeError):
            return None
        factor, more = UNITS[self.quantity][self.unit]
        value = factor * stated + more
        low, high = LIMITS[self.quantity]
        return value if math.isfinite(value) and low <= value <= high else None


@dataclass(frozen=True)
class SlowValue:
    """A value and when its line was complete, monotonic s."""

    value: float
    at_s: float


class SlowReader:
    """Reads one instrument in a thread of its own, and opens it again when it was away.

    Parameters
    ----------
    channel : SlowChannel
    opened : callable, optional
        Opens the port; pyserial's when left out.
    """

    def __init__(
        self, channel: SlowChannel, opened: Callable[[SlowChannel], Any] | None = None
    ) -> None:
        self.channel = channel
        self.fault = ""
        self._opened = opened or serial_port
        self._newest: SlowValue | None = None
        self._stopping = threading.Event()
        self._thread = threading.Thread(target=self._read, name=channel.name, daemon=True)

    def start(self) -> None:
        """Begin; returns at once."""
        self._thread.start()

    def stop(self) -> None:
        """End."""
        self._stopping.set()
        self._thread.join(2 * self.channel.every_s + 1)

    def now(self) -> SlowValue | None:
        """Return the newest value; None when there is none, or it is old."""
        newest = self._newest
        if newest is None or time.monotonic() - newest.at_s > self.channel.stale_s:
            return None
        return newest

    def _read(self) -> None:
        while not self._stopping.is_set():
            try:
                port = self._opened(self.channel)
            except (SourceLost, OSError, ValueError) as fault:
                self.fault = str(fault)
                self._stopping.wait(AGAIN_S)
                continue
            try:
                self._lines(port)
            except OSError as fault:  # unplugged; pyserial's errors are of this kind
                self.fault = f"{self.channel.port} is gone: {fault}"
            finally:
                self._newest = None
                port.close()

    def _lines(self, port: Any) -> None:
        """Read line by line; the first may have begun before we listened and is left out."""
        self.fault = ""
        waiting, begun = b"", bool(self.channel.ask)
        while not self._stopping.is_set():
            if self.channel.ask:
                port.reset_input_buffer()  # an answer that came late is not this question's
                waiting = b""
                port.write(self.channel.ask.encode())
            waiting += port.read_until(b"\n", LONGEST_LINE)
            if not waiting.endswith(b"\n"):
                if len(waiting) >= LONGEST_LINE:
                    waiting, begun = b"", False
                continue
            text, waiting = waiting.decode("ascii", errors="replace"), b""
            if begun:
                value = self.channel.read(text)
                if value is not None:
                    self._newest = SlowValue(value, time.monotonic())
            begun = True
            if self.channel.ask:
                self._stopping.wait(self.channel.every_s)


def serial_port(channel: SlowChannel) -> Any:
    """Open a serial port; raises `SourceLost` when pyserial is not installed, or the port is not there."""
    try:
        import serial
    except ImportError:
        raise SourceLost(
            "The library pyserial is not installed.",
            remedy="Install the extra: pip install heavyspot[serial].",
        ) from None
    try:
        return serial.serial_for_url(channel.port, baudrate=channel.baud, timeout=channel.every_s)
    except (serial.SerialException, ValueError) as fault:
        raise SourceLost(
            f"{channel.port} of {channel.name} cannot be opened: {fault}.",
            remedy="Check the cable, the port in the rig file, and the right to use it.",
        ) from None


class SlowChannels:
    """All slow channels of a rig; they are read from now on."""

    def __init__(self, readers: list[SlowReader]) -> None:
        self._readers = readers
        for reader in readers:
            reader.start()

    def now(self, quantity: str) -> SlowValue | None:
        """Return a quantity's newest value; None while nothing measures it."""
        found = [v for r in self._readers if r.channel.quantity == quantity and (v := r.now())]
        return max(found, key=lambda v: v.at_s, default=None)

    def values(self) -> dict[str, float | None]:
        """Return each quantity's value now, °C, kPa or rpm; None where no instrument says one."""
        newest = {quantity: self.now(quantity) for quantity in UNITS}
        return {quantity: v.value if v else None for quantity, v in newest.items()}

    def faults(self) -> list[str]:
        """Return what is wrong with each that is not read."""
        return [r.fault for r in self._readers if r.fault]

    def stop(self) -> None:
        """End them all."""
        for reader in self._readers:
            reader.stop()


def slow_channels(stated: Sequence[SlowChannel]) -> SlowChannels | None:
    """Return the slow channels that a rig file states; None where it states none."""
    return SlowChannels([SlowReader(one) for one in stated]) if stated else None
