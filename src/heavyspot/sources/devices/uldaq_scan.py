"""Capture through the Python library ``uldaq`` (extra ``uldaq``, Linux and macOS): driver ``uldaq`` of a rig file.

The device fills a ring in this process's memory by itself; what it wrote over before it was fetched is counted as
lost. Written to the library's documentation; tried against a device of the same interface that does not exist,
not on hardware.
"""

from __future__ import annotations

import time
from collections.abc import Iterator
from typing import Any

import numpy as np

from ...quantities.errors import SourceLost
from ..live import BLOCK_S, Description, LiveBlock
from ..sound_card import RigFile
from .volts import refuse_other_rate, refuse_unknown, volts_of

RING_S = 10.0
SILENT_S = 6.0
RANGES = {
    20.0: "BIP20VOLTS",
    10.0: "BIP10VOLTS",
    5.0: "BIP5VOLTS",
    2.0: "BIP2VOLTS",
    1.0: "BIP1VOLTS",
}
SETTINGS = ("first_input", "input_mode", "iepe")


class UldaqLive:
    """An input device; the rig file's ``device`` is its unique identifier, the first found when left out.

    ``settings``: ``first_input``, the lowest input, 0 when left out, the others follow it; ``input_mode``,
    ``SINGLE_ENDED`` or ``DIFFERENTIAL``; ``iepe``, whether the accelerometers are fed.

    Raises
    ------
    SourceLost
        A setting is unknown, a channel is not in volts, or no range of the device is its full scale.
    """

    def __init__(self, rig: RigFile) -> None:
        self._rig, self._description = rig, rig.description()
        refuse_unknown(rig, SETTINGS)
        scales = set(volts_of(rig))
        if len(scales) != 1 or (full_scale := scales.pop()) not in RANGES:
            raise SourceLost(
                f"The driver {rig.driver} has one range for all inputs.",
                remedy="Write one full_scale for all channels: 20, 10, 5, 2 or 1 V.",
            )
        self._full_scale_v = full_scale
        self._device: Any = None
        self._running = False

    def describe(self) -> Description:
        """Return what the rig file says."""
        return self._description

    def open(self) -> None:
        """Start the device; raises `SourceLost` when it is not there or samples at another rate."""
        library = _library()
        settings, n = self._rig.settings, len(self._rig.channel)
        first = int(settings.get("first_input", 0))
        mode = str(settings.get("input_mode", "SINGLE_ENDED")).upper()
        if not hasattr(library.AiInputMode, mode):
            raise SourceLost(f'"{mode}" is no input mode.', remedy="SINGLE_ENDED or DIFFERENTIAL.")
        try:
            self._device = library.DaqDevice(self._found(library))
            self._device.connect()
            inputs = self._inputs = self._device.get_ai_device()
            if settings.get("iepe"):
                self._feed(library, inputs, first)
            self._ring_n = round(RING_S * self._rig.sample_rate_hz)
            self._ring = library.create_float_buffer(n, self._ring_n)
            rate = inputs.a_in_scan(
                first, first + n - 1, getattr(library.AiInputMode, mode),
                getattr(library.Range, RANGES[self._full_scale_v]), self._ring_n, self._rig.sample_rate_hz,
                library.ScanOption.CONTINUOUS, library.AInScanFlag.DEFAULT, self._ring,
            )  # fmt: skip
            self._running = True
            refuse_other_rate(self._rig, float(rate))
        except library.ULException as fault:
            self.close()
            raise SourceLost(
                f"The device of {self._rig.name} cannot be opened: {fault}",
                remedy="Check the device, its identifier in the rig file, and its rights (udev).",
            ) from None
        except SourceLost:
            self.close()
            raise

    def _found(self, library: Any) -> Any:
        devices = library.get_daq_device_inventory(library.InterfaceType.ANY)
        wanted = str(self._rig.device)
        for one in devices:
            if wanted in ("", one.unique_id):
                return one
        names = ", ".join(one.unique_id for one in devices) or "none"
        raise SourceLost(
            f'No device "{wanted}" is connected.', remedy=f"Connected, by identifier: {names}."
        )

    def _feed(self, library: Any, inputs: Any, first: int) -> None:
        for i, channel in enumerate(self._rig.channel):
            if channel.quantity == "acceleration":
                inputs.get_config().set_chan_iepe_mode(first + i, library.IepeMode.ENABLED)

    def blocks(self) -> Iterator[LiveBlock]:
        """Yield blocks until closed; raises `SourceLost` when the device fails or falls silent."""
        library, at, moved = _library(), 0, time.monotonic()
        n, size = len(self._rig.channel), self._ring_n
        ring = np.frombuffer(self._ring, np.float64).reshape(size, n)
        while self._running:
            time.sleep(BLOCK_S / 2)
            try:
                status, transfer = self._inputs.get_scan_status()
            except library.ULException as fault:
                if self._ended():
                    return
                raise SourceLost(
                    f"The device ended the capture: {fault}",
                    remedy="Check its cable and supply. What was captured is kept.",
                ) from None
            there = int(transfer.current_scan_count)
            if there == at:
                if status != library.ScanStatus.RUNNING or time.monotonic() - moved > SILENT_S:
                    raise SourceLost(
                        "The device delivers nothing any more.",
                        remedy="Check its cable and supply. What was captured is kept.",
                    )
                continue
            moved = time.monotonic()
            data = np.take(ring, np.arange(max(at, there - size), there) % size, axis=0)
            # what the device wrote meanwhile is on top of the oldest of these
            now = int(self._inputs.get_scan_status()[1].current_scan_count)
            first = max(at, now - size)
            data = data[first - max(at, there - size) :]
            if len(data):
                stored = (data / self._full_scale_v).astype(np.float32)
                yield LiveBlock(first, stored, moved, first - at)
                at = there

    def _ended(self) -> bool:
        return not self._running

    def close(self) -> None:
        """Stop the device."""
        library, device, ran = _library(), self._device, self._running
        self._running, self._device = False, None
        if device is None:
            return
        try:
            if ran:
                self._inputs.scan_stop()
            device.disconnect()
        except library.ULException:
            pass  # it is gone already
        device.release()


def _library() -> Any:
    try:
        import uldaq
    except ImportError:
        raise SourceLost(
            "The library uldaq is not installed.",
            remedy="Install the extra: pip install heavyspot[uldaq].",
        ) from None
    except OSError:
        raise SourceLost(
            "The library libuldaq that uldaq works with is not installed.",
            remedy="Install libuldaq (and libusb) as its maker describes.",
        ) from None
    return uldaq
