"""HDF5: one dataset a channel, or one two-dimensional dataset, with the rate as an attribute.

The rate is looked for as ``sample_rate_hz`` on the datasets or on the file; failing that, the
sidecar must give it. A dataset's ``unit`` attribute is taken as its unit.
"""

from __future__ import annotations

from collections.abc import Iterator
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
                names, channels, count, rate = _layout(file, path.name)
        except OSError as fault:
            raise UnreadableFile(
                f"{path.name} is damaged ({str(fault)[:80]}).", remedy="Export it again."
            ) from None
        if rate is None and sidecar is not None:
            rate = sidecar.sample_rate_hz
        if rate is None or not rate > 0:
            raise UnreadableFile(
                f"{path.name} states no sample rate.",
                remedy='Give the attribute "sample_rate_hz", or state it in the sidecar.',
            )

        def opener(size: int) -> Iterator[NDArray[np.float32]]:
            with h5py.File(path, "r") as file:
                for at in range(0, count, size):
                    parts = [np.asarray(file[n][at : at + size], np.float32) for n in names]
                    yield parts[0] if parts[0].ndim == 2 else np.stack(parts, axis=1)

        recording = Recording(
            channels=channels, sample_rate_hz=float(rate), n_samples=count, opener=opener, path=path
        )
        return described(recording, sidecar, rate_may_differ=False)


def _layout(file: Any, name: str) -> tuple[list[str], tuple[Channel, ...], int, float | None]:
    import h5py

    found: list[Any] = []
    file.visititems(lambda _, item: found.append(item) if isinstance(item, h5py.Dataset) else None)
    found = [d for d in found if d.dtype.kind in "fiu" and d.ndim in (1, 2) and d.shape[0] > 2]
    flat = [d for d in found if d.ndim == 1]
    wide = [d for d in found if d.ndim == 2]
    if (
        not (flat or wide)
        or (flat and wide)
        or len(wide) > 1
        or len({d.shape[0] for d in flat}) > 1
    ):
        shown = ", ".join(f"{d.name} {d.shape}" for d in found) or "none"
        raise UnreadableFile(
            f"{name}: cannot tell which datasets are the channels (found {shown}).",
            remedy="Store one dataset a channel, of equal length, or one (samples, channels) dataset.",
        )
    chosen = wide or flat
    rate = next(
        (float(h.attrs["sample_rate_hz"]) for h in (*chosen, file) if "sample_rate_hz" in h.attrs),
        None,
    )
    if wide:
        channels = tuple(Channel(f"channel {i + 1}") for i in range(wide[0].shape[1]))
    else:
        channels = tuple(
            guessed_channel(d.name.rsplit("/", 1)[-1], str(d.attrs.get("unit", ""))) for d in flat
        )
    return [d.name for d in chosen], channels, int(chosen[0].shape[0]), rate
