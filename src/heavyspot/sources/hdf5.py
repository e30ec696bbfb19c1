"""HDF5: one dataset a channel, or one two-dimensional dataset, with the rate as an attribute.

The rate is looked for as ``sample_rate_hz`` on the datasets or on the file; failing that, the
sidecar must give it. A dataset's ``unit`` attribute is taken as its unit.
"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass
from pathlib import Path
from typing import Any

import numpy as np
from numpy.typing import NDArray

from ..quantities.errors import UnreadableFile
from .readers import described, guessed_channel
from .recording import Channel, Recording
from .sidecar import Sidecar


class Hdf5Reader:
    """Reads one-dimensional datasets of equal length, or a single (n, channels) one."""

    name = "hdf5"
    suffixes = (".h5", ".hdf5", ".hdf")

    def recognise(self, head: bytes, name: str) -> bool:
        """HDF5 has a fixed signature."""
        return head[:8] == b"\x89HDF\r\n\x1a\n"

    def read(self, path: Path, sidecar: Sidecar | None) -> Recording:
        """Return the recording."""
        import h5py

        try:
            with h5py.File(path, "r") as file:
                found = _layout(file, path.name)
        except OSError as fault:
            raise UnreadableFile(
                f"{path.name} is damaged ({str(fault)[:80]}).", remedy="Export it again."
            ) from None
        rate = found.rate_hz
        if rate is None and sidecar is not None:
            rate = sidecar.sample_rate_hz
        if rate is None or not rate > 0:
            raise UnreadableFile(
                f"{path.name} states no sample rate.",
                remedy='Give the attribute "sample_rate_hz", or state it in the sidecar.',
            )

        def opener(size: int) -> Iterator[NDArray[np.float32]]:
            with h5py.File(path, "r") as file:
                for at in range(0, found.count, size):
                    parts = [np.asarray(file[n][at : at + size], np.float32) for n in found.names]
                    yield parts[0] if parts[0].ndim == 2 else np.stack(parts, axis=1)

        recording = Recording(
            channels=found.channels,
            sample_rate_hz=float(rate),
            n_samples=found.count,
            opener=opener,
            path=path,
        )
        return described(recording, sidecar, rate_may_differ=False)


@dataclass(frozen=True)
class _Layout:
    """Which datasets are the channels; `rate_hz` is None where none is stated."""

    names: tuple[str, ...]
    channels: tuple[Channel, ...]
    count: int
    rate_hz: float | None


def _layout(file: Any, name: str) -> _Layout:
    chosen = _chosen(file, name)
    stated = (h.attrs["sample_rate_hz"] for h in (*chosen, file) if "sample_rate_hz" in h.attrs)
    rate = next(stated, None)
    return _Layout(
        names=tuple(d.name for d in chosen),
        channels=_channels(chosen),
        count=int(chosen[0].shape[0]),
        rate_hz=None if rate is None else float(rate),
    )


def _chosen(file: Any, name: str) -> list[Any]:
    """Return the datasets that are channels: several flat ones of equal length, or a single wide one."""
    import h5py

    found: list[Any] = []
    file.visititems(lambda _, item: found.append(item) if isinstance(item, h5py.Dataset) else None)
    found = [d for d in found if d.dtype.kind in "fiu" and d.ndim in (1, 2) and d.shape[0] > 2]
    one_wide = len(found) == 1 and found[0].ndim == 2
    all_flat = bool(found) and all(d.ndim == 1 for d in found)
    if one_wide or (all_flat and len({d.shape[0] for d in found}) == 1):
        return found
    shown = ", ".join(f"{d.name} {d.shape}" for d in found) or "none"
    raise UnreadableFile(
        f"{name}: cannot tell which datasets are the channels (found {shown}).",
        remedy="Store one dataset a channel, of equal length, or one (samples, channels) dataset.",
    )


def _channels(chosen: list[Any]) -> tuple[Channel, ...]:
    if chosen[0].ndim == 2:
        return tuple(Channel(f"channel {i + 1}") for i in range(chosen[0].shape[1]))
    return tuple(
        guessed_channel(d.name.rsplit("/", 1)[-1], str(d.attrs.get("unit", ""))) for d in chosen
    )
