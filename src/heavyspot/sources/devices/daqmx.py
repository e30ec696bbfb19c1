"""Capture through the Python library ``nidaqmx`` (extra ``nidaqmx``): driver ``nidaqmx`` of a rig file.

The library's own driver keeps a buffer and raises when that runs over: nothing is ever left out silently.
Written to the library's documentation; tried against a device that does not exist, of the
same interface, not on hardware.
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

BUFFER_S = 10.0
"""What the driver keeps while nobody fetches."""

SILENT_S = 6.0
SETTINGS = ("inputs", "iepe_ma", "terminals")


class DaqmxLive:
    """An input device.

    ``settings``: ``inputs``, the physical channels in the order of the rig file, with commas; ``iepe_ma``, the
    supply of the accelerometers in mA, none when left out; ``terminals``, one of the library's terminal
    configurations.

    Parameters
    ----------
    rig : RigFile

    Raises
    ------
    SourceLost
        A setting is missing or unknown, or a channel is not in volts.
    """

    def __init__(self, rig: RigFile) -> None:
        self._rig, self._description = rig, rig.description()
        refuse_unknown(rig, SETTINGS)
        self._full_scale_v = volts_of(rig)
        self._inputs = [one.strip() for one in str(rig.settings.get("inputs", "")).split(",")]
        if len(self._inputs) != len(rig.channel) or not all(self._inputs):
            raise SourceLost(
                f"{rig.name} has {len(rig.channel)} channels; its settings name other inputs.",
                remedy='Name each: inputs = "Dev1/ai0, Dev1/ai1" under [settings].',
            )
        self._task: Any = None
        self._running = False

    def describe(self) -> Description:
        """Return what the rig file says."""
        return self._description

    def open(self) -> None:
        """Start the device; raises `SourceLost` when it is not there or samples at another rate."""
        library = _library()
        rate = self._description.sample_rate_hz
        try:
            self._task = library.nidaqmx.Task()
            for name, full_scale, channel in zip(
                self._inputs, self._full_scale_v, self._rig.channel, strict=True
            ):
                self._add(library, name, full_scale, channel.quantity)
            self._task.timing.cfg_samp_clk_timing(
                rate,
                sample_mode=library.constants.AcquisitionType.CONTINUOUS,
                samps_per_chan=round(BUFFER_S * rate),
            )
            refuse_other_rate(self._rig, float(self._task.timing.samp_clk_rate))
            self._reader = library.stream_readers.AnalogMultiChannelReader(self._task.in_stream)
            self._task.start()
        except library.errors.Error as fault:
            self.close()
            raise SourceLost(
                f"{', '.join(self._inputs)} cannot be opened: {fault}",
                remedy="Check the device, its name in the settings, and the maker's driver.",
            ) from None
        except SourceLost:
            self.close()
            raise
        self._running = True

    def _add(self, library: Any, name: str, full_scale_v: float, quantity: str) -> None:
        constants = library.constants
        terminals = str(self._rig.settings.get("terminals", "DEFAULT")).upper()
        if not hasattr(constants.TerminalConfiguration, terminals):
            raise SourceLost(
                f'"{terminals}" is no terminal configuration.', remedy="DEFAULT, DIFF, RSE, NRSE."
            )
        channel = self._task.ai_channels.add_ai_voltage_chan(
            name,
            terminal_config=getattr(constants.TerminalConfiguration, terminals),
            min_val=-full_scale_v,
            max_val=full_scale_v,
        )
        iepe_ma = float(self._rig.settings.get("iepe_ma", 0.0))
        if quantity == "acceleration" and iepe_ma > 0:
            channel.ai_coupling = constants.Coupling.AC
            channel.ai_excit_src = constants.ExcitationSource.INTERNAL
            channel.ai_excit_val = 1e-3 * iepe_ma

    def blocks(self) -> Iterator[LiveBlock]:
        """Yield blocks until closed; raises `SourceLost` when the device fails or its buffer runs over."""
        library, at = _library(), 0
        n = round(BLOCK_S * self._description.sample_rate_hz)
        volts = np.empty((len(self._inputs), n))
        scale = np.array(self._full_scale_v)
        while self._running:
            try:
                self._reader.read_many_sample(volts, n, timeout=SILENT_S)
            except library.errors.Error as fault:
                if self._ended():  # closed from another thread while it waited
                    return
                raise SourceLost(
                    f"The device ended the capture: {fault}",
                    remedy="Check its cable and supply. What was captured is kept.",
                ) from None
            yield LiveBlock(at, (volts.T / scale).astype(np.float32), time.monotonic())
            at += n

    def _ended(self) -> bool:
        return not self._running

    def close(self) -> None:
        """Stop the device."""
        self._running = False
        task, self._task = self._task, None
        if task is not None:
            task.close()


class _Library:
    """The library's parts that are used."""

    def __init__(self) -> None:
        import nidaqmx
        from nidaqmx import constants, errors, stream_readers

        self.nidaqmx, self.constants = nidaqmx, constants
        self.errors, self.stream_readers = errors, stream_readers


def _library() -> Any:
    try:
        return _Library()
    except ImportError:
        raise SourceLost(
            "The library nidaqmx is not installed.",
            remedy="Install the extra: pip install heavyspot[nidaqmx], and the maker's driver.",
        ) from None
