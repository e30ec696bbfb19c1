"""TDMS, through nptdms."""

from __future__ import annotations

import logging
from collections.abc import Callable, Iterator
from dataclasses import dataclass
from pathlib import Path
from typing import Any

import numpy as np
from numpy.typing import NDArray

from ..quantities.errors import UnreadableFile
from .readers import described, guessed_channel
from .recording import Channel, Recording
from .sidecar import Sidecar


class TdmsReader:
    """Reads every channel of the first group that has waveform data."""

    name = "tdms"
    suffixes = (".tdms",)

    def recognise(self, head: bytes, name: str) -> bool:
        """A TDMS segment begins with TDSm."""
        return head[:4] == b"TDSm"

    def read(self, path: Path, sidecar: Sidecar | None) -> Recording:
        """Return the recording; several groups of channels are refused, not guessed between."""
        logging.getLogger("nptdms").setLevel(logging.ERROR)  # we say it ourselves
        found = _layout(path)
        recording = Recording(
            channels=found.channels,
            sample_rate_hz=_rate(found.step_s, sidecar, path.name),
            n_samples=found.count,
            opener=_opener(path, found),
            recorded_at=found.recorded_at,
            path=path,
        )
        return described(recording, sidecar, rate_may_differ=True)


@dataclass(frozen=True)
class _Layout:
    """What stands in a file; `step_s` is 0 where it states none."""

    group: str
    names: tuple[str, ...]
    channels: tuple[Channel, ...]
    count: int
    step_s: float
    recorded_at: str


def _layout(path: Path) -> _Layout:
    import nptdms

    try:
        with nptdms.TdmsFile.open(path) as file:
            if file.file_status.incomplete_final_segment:
                raise UnreadableFile(
                    f"{path.name} is cut short: its last segment is incomplete.",
                    remedy="Copy the file again from the rig.",
                )
            group = _only_group(file, path.name)
            channels = [c for c in group.channels() if len(c)]
            sizes = {len(c) for c in channels}
            steps = {float(c.properties.get("wf_increment", 0)) for c in channels}
            if len(sizes) > 1 or len(steps) > 1:
                raise UnreadableFile(
                    f"{path.name}: its channels differ in length or sample rate.",
                    remedy="Export all channels with one rate and length.",
                )
            recorded = channels[0].properties.get("wf_start_time")
            units = [str(c.properties.get("unit_string", "")) for c in channels]
            return _Layout(
                group=group.name,
                names=tuple(c.name for c in channels),
                channels=tuple(
                    guessed_channel(c.name, u) for c, u in zip(channels, units, strict=True)
                ),
                count=sizes.pop(),
                step_s=steps.pop(),
                recorded_at=f"{recorded}Z" if recorded is not None else "",
            )
    except UnreadableFile:
        raise
    except Exception as fault:  # nptdms raises many kinds for damaged files
        raise UnreadableFile(
            f"{path.name} is damaged ({str(fault)[:80]}).", remedy="Export it again."
        ) from None


def _only_group(file: Any, name: str) -> Any:
    groups = [g for g in file.groups() if any(len(c) for c in g.channels())]
    if len(groups) != 1:
        shown = ", ".join(repr(g.name) for g in groups) or "none"
        raise UnreadableFile(
            f"{name} has {len(groups)} groups with samples: {shown}.",
            remedy="Export one group to a file.",
        )
    return groups[0]


def _rate(step_s: float, sidecar: Sidecar | None, name: str) -> float:
    if step_s > 0:
        rate = 1 / step_s
        return float(round(rate)) if abs(rate - round(rate)) < 1e-6 * rate else rate
    if sidecar and sidecar.sample_rate_hz:
        return float(sidecar.sample_rate_hz)
    raise UnreadableFile(
        f"{name} states no sample rate (wf_increment).",
        remedy='Give "sample_rate_hz" in its sidecar.',
    )


def _opener(path: Path, found: _Layout) -> Callable[[int], Iterator[NDArray[np.float32]]]:
    import nptdms

    def blocks(size: int) -> Iterator[NDArray[np.float32]]:
        with nptdms.TdmsFile.open(path) as file:
            group = file[found.group]
            for at in range(0, found.count, size):
                parts = [
                    np.asarray(group[n].read_data(offset=at, length=size), np.float32)
                    for n in found.names
                ]
                yield np.stack(parts, axis=1)

    return blocks
