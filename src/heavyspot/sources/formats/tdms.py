"""TDMS, through nptdms: channels in groups, with their units and their waveform step."""

from __future__ import annotations

import logging
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path
from typing import Any

import numpy as np

from ...quantities.errors import UnreadableFile
from ..recording import Recording
from ..sidecar import Sidecar
from .arrays import FoundArray, FoundArrays, Getter, recording_of


class TdmsReader:
    """Reads every channel of a group; several groups with samples are asked about."""

    name = "tdms"
    suffixes = (".tdms",)

    def recognise(self, head: bytes, name: str) -> bool:
        """A TDMS segment begins with TDSm."""
        return head[:4] == b"TDSm"

    def read(self, path: Path, sidecar: Sidecar | None) -> Recording:
        """Return the recording; several groups of channels are refused, not guessed between."""
        import nptdms
        from nptdms.log import log_manager

        log_manager.set_level(logging.CRITICAL)  # we say it ourselves
        try:
            with path.open("rb") as raw, nptdms.TdmsFile.open(raw) as file:
                if file.file_status.incomplete_final_segment:
                    raise UnreadableFile(
                        f"{path.name} is cut short: its last segment is incomplete.",
                        remedy="Copy the file again from the rig.",
                    )
                found = _found(file, path)
        except UnreadableFile:
            raise
        except Exception as fault:  # nptdms raises many kinds for damaged files
            raise UnreadableFile(
                f"{path.name} is damaged ({str(fault)[:80]}).", remedy="Export it again."
            ) from None
        return recording_of(path, found, sidecar)


def _found(file: Any, path: Path) -> FoundArrays:
    """Return the channels with samples, each at the place "group/channel"; slashes in names are kept out."""
    channels = [c for g in file.groups() for c in g.channels() if len(c)]
    places = {_place(c): (c.group_name, c.name) for c in channels}
    begun = {str(c.properties["wf_start_time"]) for c in channels if "wf_start_time" in c.properties}  # fmt: skip
    return FoundArrays(
        arrays=tuple(
            FoundArray(
                place=_place(c),
                shape=(len(c),),
                unit=str(c.properties.get("unit_string", "")),
                rate_hz=_rate(float(c.properties.get("wf_increment", 0))),
            )
            for c in channels
            if c.dtype.kind in "fiu"
        ),
        open=lambda: _getter(path, places),
        apart=True,
        recorded_at=f"{begun.pop()}Z" if len(begun) == 1 else "",
    )


def _place(channel: Any) -> str:
    group, name = channel.group_name, channel.name
    return f"{group.replace('/', '|')}/{name.replace('/', '|')}"


def _rate(step_s: float) -> float | None:
    """Return the samples a second of a step; a step is stored in binary, so a rate next to a whole one is whole."""
    if not step_s > 0:
        return None
    rate = 1 / step_s
    return float(round(rate)) if abs(rate - round(rate)) < 1e-6 * rate else rate


@contextmanager
def _getter(path: Path, places: dict[str, tuple[str, str]]) -> Iterator[Getter]:
    import nptdms

    with path.open("rb") as raw, nptdms.TdmsFile.open(raw) as file:

        def get(place: str, start: int, end: int) -> Any:
            group, name = places[place]
            return np.asarray(file[group][name].read_data(offset=start, length=end - start))

        yield get
