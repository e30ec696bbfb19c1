"""One recording: what its channels are, and its samples as a stream of blocks."""

from __future__ import annotations

from collections.abc import Callable, Iterator
from dataclasses import dataclass, field
from pathlib import Path
from typing import Literal

import numpy as np
from numpy.typing import NDArray

from ..quantities.angles import Rotation
from ..quantities.errors import UnreadableFile
from ..quantities.units import ACCELERATION_IN_G, sensitivity_v_per_unit
from ..signal.mark.reference import ReferenceSettings

BLOCK_SAMPLES = 262_144

Quantity = Literal[
    "acceleration", "velocity", "force", "phase", "speed", "temperature", "pressure", "other"
]

SUPPORT_QUANTITIES = ("force", "velocity", "acceleration")
"""What a support of a low-speed machine may be measured by."""


@dataclass(frozen=True)
class Channel:
    """One channel of a recording.

    Attributes
    ----------
    name : str
    quantity : str
        ``acceleration``, ``phase`` or another.
    unit : str
        Unit of ``stored value * full_scale``: ``V``, ``g``, ``m/s²`` ...
    full_scale : float
        What a stored 1.0 means in `unit`.
    sensitivity : (float, str) or None
        As on the certificate, for example ``(100.0, "mV/g")``; None when `unit` is already physical.
    sensor : str
        Maker's type and serial, as the shop writes it.
    clock : float or None
        Where it sits, as a clock hour seen from the compressor nut, 12 = up.
    reference : ReferenceSettings or None
        For the phase channel: what passes, and which edge.
    """

    name: str
    quantity: Quantity = "other"
    unit: str = "FS"
    full_scale: float = 1.0
    sensitivity: tuple[float, str] | None = None
    sensor: str = ""
    clock: float | None = None
    reference: ReferenceSettings | None = None

    @property
    def per_stored(self) -> tuple[float, str]:
        """Factor from a stored sample to the physical unit, and that unit."""
        if self.sensitivity is not None and self.unit in ("V", "mV"):
            per_unit, physical = sensitivity_v_per_unit(*self.sensitivity)
            return self.full_scale * (1e-3 if self.unit == "mV" else 1.0) / per_unit, physical
        return self.full_scale, self.unit

    @property
    def g_per_stored(self) -> float:
        """Factor from a stored sample to g; raises `UnreadableFile` when the channel is no acceleration."""
        if self.unit in ACCELERATION_IN_G:
            return self.full_scale * ACCELERATION_IN_G[self.unit]
        if self.sensitivity is not None and self.unit in ("V", "mV"):
            per_unit, physical = sensitivity_v_per_unit(*self.sensitivity)
            if physical in ACCELERATION_IN_G:
                volts = self.full_scale * (1e-3 if self.unit == "mV" else 1.0)
                return volts / per_unit * ACCELERATION_IN_G[physical]
        raise UnreadableFile(
            f'Channel "{self.name}" has unit {self.unit!r} and no usable sensitivity.',
            remedy='State unit "g" or "m/s²", or unit "V" with a sensitivity such as 100 "mV/g".',
        )


@dataclass(frozen=True)
class Block:
    """Consecutive samples.

    Attributes
    ----------
    first_sample : int
    data : ndarray, shape (n, channels), float32
        Stored values: times the channel's `full_scale` they are in its unit.
    """

    first_sample: int
    data: NDArray[np.float32]


@dataclass(frozen=True)
class Recording:
    """Raw samples of one spin and what is known of them.

    Attributes
    ----------
    channels : tuple of Channel
        In file order.
    sample_rate_hz : float
    n_samples : int
        Samples in each channel; -1 when only reading to the end tells.
    rotation : str or None
        ``clockwise`` or ``counterclockwise`` seen from the nut; None when the file does not say.
    recorded_at : str
        ISO 8601, UTC; empty when unknown.
    rig : str
    bits : int
        Bits of an integer file; 0 for floating point.
    lost_samples : int
        Samples that were lost while it was captured.
    notes : tuple of str
        What the reader had to assume.
    simulated : bool
        Whether its sidecar says that no rig made it.
    path : Path or None
    """

    channels: tuple[Channel, ...]
    sample_rate_hz: float
    n_samples: int
    opener: Callable[[int], Iterator[NDArray[np.float32]]] = field(repr=False)
    rotation: Rotation | None = None
    recorded_at: str = ""
    rig: str = ""
    operator: str = ""
    oil_temperature_c: float | None = None
    oil_pressure_kpa: float | None = None
    bits: int = 0
    lost_samples: int = 0
    notes: tuple[str, ...] = ()
    simulated: bool = False
    path: Path | None = None

    @property
    def duration_s(self) -> float:
        """Length, s."""
        return self.n_samples / self.sample_rate_hz

    def blocks(self, size: int = BLOCK_SAMPLES) -> Iterator[Block]:
        """Yield the samples in order.

        Raises
        ------
        UnreadableFile
            The file is cut short, or holds NaN or infinity; says where.
        """
        at = 0
        for data in self.opener(size):
            self._refuse_not_finite(data, at)
            yield Block(at, data)
            at += data.shape[0]
        if self.n_samples >= 0 and at != self.n_samples:
            raise UnreadableFile(
                f"{self._name} is cut short: {self.n_samples} samples promised, {at} found.",
                remedy="Copy the file again from the rig, or spin again.",
            )

    def phase_index(self) -> int:
        """Return the index of the phase channel.

        Raises
        ------
        UnreadableFile
            There is none, or more than one.
        """
        found = [i for i, c in enumerate(self.channels) if c.quantity == "phase"]
        if len(found) == 1:
            return found[0]
        names = ", ".join(f'"{c.name}"' for c in self.channels)
        if not found:
            raise UnreadableFile(
                f"{self._name} has no phase channel among {names}.",
                remedy='Describe the channels in a JSON file beside it; give one "quantity": "phase".',
            )
        raise UnreadableFile(
            f"{self._name} has {len(found)} phase channels.",
            remedy='Leave "quantity": "phase" on the one to use.',
        )

    def vibration_indices(self) -> tuple[int, ...]:
        """Return the indices of the acceleration channels; raises `UnreadableFile` when there is none."""
        found = tuple(i for i, c in enumerate(self.channels) if c.quantity == "acceleration")
        if not found:
            raise UnreadableFile(
                f"{self._name} has no acceleration channel.",
                remedy='Describe the channels in a JSON file beside it; give one "quantity": "acceleration".',
            )
        return found

    def support_indices(self) -> tuple[int, ...]:
        """Return the indices of the channels of a low-speed machine's supports, A first.

        Raises
        ------
        UnreadableFile
            Fewer than two.
        """
        found = tuple(i for i, c in enumerate(self.channels) if c.quantity in SUPPORT_QUANTITIES)
        if len(found) < 2:
            raise UnreadableFile(
                f"{self._name} has {len(found)} channel of force, velocity or acceleration.",
                remedy="A low-speed machine has one at each support; describe both in the JSON file beside it.",
            )
        return found

    @property
    def _name(self) -> str:
        return self.path.name if self.path else "The recording"

    def _refuse_not_finite(self, data: NDArray[np.float32], at: int) -> None:
        # one pass over the sum finds NaN and infinity without a temporary
        with np.errstate(over="ignore", invalid="ignore"):
            total = float(np.add.reduce(data, axis=None, dtype=np.float32))
        if np.isfinite(total):
            return
        bad = np.argwhere(~np.isfinite(data))
        if bad.size == 0:
            return
        row, column = (int(v) for v in bad[0])
        raise UnreadableFile(
            f'{self._name}: channel "{self.channels[column].name}" holds NaN or infinity at '
            f"{(at + row) / self.sample_rate_hz:.4f} s (sample {at + row}).",
            remedy="Export the recording again without gaps; Heavyspot does not fill them.",
        )


def from_array(
    data: NDArray[np.float32],
    *,
    channels: tuple[Channel, ...],
    sample_rate_hz: float,
    rotation: Rotation | None = None,
    rig: str = "",
    recorded_at: str = "",
) -> Recording:
    """Return a recording of samples in memory.

    Parameters
    ----------
    data : ndarray, shape (n, channels)
    """
    if data.ndim != 2 or data.shape[1] != len(channels):
        raise UnreadableFile(
            f"Samples have shape {data.shape}; {len(channels)} channels are described.",
            remedy="Give one column for each channel.",
        )
    samples = np.ascontiguousarray(data, dtype=np.float32)

    def opener(size: int) -> Iterator[NDArray[np.float32]]:
        for at in range(0, samples.shape[0], size):
            yield samples[at : at + size]

    return Recording(
        channels=channels,
        sample_rate_hz=float(sample_rate_hz),
        n_samples=samples.shape[0],
        opener=opener,
        rotation=rotation,
        rig=rig,
        recorded_at=recorded_at,
    )
