"""TDMS, through nptdms."""

from __future__ import annotations

import logging
from collections.abc import Iterator
from pathlib import Path

import numpy as np
from numpy.typing import NDArray

from ..quantities.errors import UnreadableFile
from .readers import described, guessed_channel
from .recording import Recording
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
        import nptdms

        logging.getLogger("nptdms").setLevel(logging.ERROR)  # we say it ourselves
        try:
            with nptdms.TdmsFile.open(path) as file:
                if file.file_status.incomplete_final_segment:
                    raise UnreadableFile(
                        f"{path.name} is cut short: its last segment is incomplete.",
                        remedy="Copy the file again from the rig.",
                    )
                groups = [g for g in file.groups() if any(len(c) for c in g.channels())]
                if len(groups) != 1:
                    shown = ", ".join(repr(g.name) for g in groups) or "none"
                    raise UnreadableFile(
                        f"{path.name} has {len(groups)} groups with samples: {shown}.",
                        remedy="Export one group to a file.",
                    )
                channels = [c for c in groups[0].channels() if len(c)]
                sizes = {len(c) for c in channels}
                steps = {float(c.properties.get("wf_increment", 0)) for c in channels}
                recorded = channels[0].properties.get("wf_start_time")
                names = [(c.name, str(c.properties.get("unit_string", ""))) for c in channels]
        except UnreadableFile:
            raise
        except Exception as fault:  # nptdms raises many kinds for damaged files
            raise UnreadableFile(
                f"{path.name} is damaged ({str(fault)[:80]}).", remedy="Export it again."
            ) from None
        if len(sizes) > 1 or len(steps) > 1:
            raise UnreadableFile(
                f"{path.name}: its channels differ in length or sample rate.",
                remedy="Export all channels with one rate and length.",
            )
        step, count = steps.pop(), sizes.pop()
        if step <= 0:
            rate = sidecar.sample_rate_hz if sidecar and sidecar.sample_rate_hz else 0.0
            if not rate:
                raise UnreadableFile(
                    f"{path.name} states no sample rate (wf_increment).",
                    remedy='Give "sample_rate_hz" in its sidecar.',
                )
        else:
            rate = 1 / step
            rate = round(rate) if abs(rate - round(rate)) < 1e-6 * rate else rate
        group_name, channel_names = groups[0].name, [c.name for c in channels]

        def opener(size: int) -> Iterator[NDArray[np.float32]]:
            with nptdms.TdmsFile.open(path) as file:
                group = file[group_name]
                for at in range(0, count, size):
                    parts = [
                        np.asarray(group[n].read_data(offset=at, length=size), np.float32)
                        for n in channel_names
                    ]
                    yield np.stack(parts, axis=1)

        recording = Recording(
            channels=tuple(guessed_channel(*n) for n in names),
            sample_rate_hz=float(rate),
            n_samples=count,
            opener=opener,
            recorded_at=f"{recorded}Z" if recorded is not None else "",
            path=path,
        )
        return described(recording, sidecar, rate_may_differ=True)
