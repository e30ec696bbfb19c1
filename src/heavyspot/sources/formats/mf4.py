"""ASAM MDF, versions 3 and 4, through asammdf, which comes with the part `mf4`: groups with their master."""

from __future__ import annotations

import logging
import warnings
from collections.abc import Iterator
from contextlib import contextmanager
from datetime import UTC
from pathlib import Path
from typing import Any

import numpy as np
from numpy.typing import NDArray

from ...quantities.errors import UnreadableFile
from ..recording import Recording
from ..sidecar import Sidecar
from .arrays import FoundArray, FoundArrays, Getter, recording_of


class MdfReader:
    """Reads every channel of a group; its master is the time in seconds, as the standard has it."""

    name = "mdf"
    suffixes = (".mf4", ".mdf", ".dat")

    def recognise(self, head: bytes, name: str) -> bool:
        """A file begins with MDF and blanks; one that was never finished says so."""
        return head[:8] in (b"MDF     ", b"UnFinMF ")

    def read(self, path: Path, sidecar: Sidecar | None) -> Recording:
        """Return the recording; the channels of the chosen group are read whole."""
        with _opened(path) as file:
            try:
                found = _found(file, path)
            except Exception as fault:  # asammdf raises many kinds for damaged files
                raise _damaged(path, fault) from None
        return recording_of(path, found, sidecar)


def _damaged(path: Path, fault: Exception) -> UnreadableFile:
    return UnreadableFile(f"{path.name} is damaged ({str(fault)[:80]}).", remedy="Export it again.")


@contextmanager
def _opened(path: Path) -> Iterator[Any]:
    with warnings.catch_warnings():
        warnings.simplefilter("ignore")  # of its parts, at import
        try:
            from asammdf import MDF
        except ImportError:
            raise UnreadableFile(
                f"{path.name} is an ASAM MDF file; this installation cannot read them.",
                remedy="Install the part that can: pip install 'heavyspot[mf4]'.",
            ) from None
        logging.getLogger("asammdf").setLevel(logging.CRITICAL)  # we say it ourselves
        try:
            file = MDF(path)
        except Exception as fault:  # asammdf raises many kinds for damaged files
            raise _damaged(path, fault) from None
    try:
        yield file
    finally:
        file.close()


def _found(file: Any, path: Path) -> FoundArrays:
    arrays: list[FoundArray] = []
    places: dict[str, tuple[int, int]] = {}
    for number, group in enumerate(file.groups):
        label = _label(group, number)
        for index, channel in enumerate(group.channels):
            place = f"{label}/{_name(file, number, index, channel)}"
            count = int(group.channel_group.cycles_nr)
            if count and _is_number(file, number, index):
                places[place] = (number, index)
                arrays.append(FoundArray(place, (count,), _unit(file, number, index)))
    begun = file.header.start_time.astimezone(UTC).isoformat(timespec="seconds")
    return FoundArrays(tuple(arrays), lambda: _getter(path, places), apart=True, recorded_at=begun)


def _label(group: Any, number: int) -> str:
    said = getattr(group.channel_group, "acq_name", "") or ""
    return f"{number + 1} {said}".strip().replace("/", "|")


def _name(file: Any, number: int, index: int, channel: Any) -> str:
    return "time" if index == _master(file, number) else str(channel.name).replace("/", "|")


def _master(file: Any, number: int) -> int | None:
    found = file.masters_db.get(number)
    return None if found is None else int(found)


def _is_number(file: Any, number: int, index: int) -> bool:
    if index == _master(file, number):
        return True
    first = file.get(group=number, index=index, record_offset=0, record_count=1).samples
    return first.ndim == 1 and first.dtype.kind in "fiu"


def _unit(file: Any, number: int, index: int) -> str:
    if index == _master(file, number):
        return "s"
    return str(file.get_channel_unit(group=number, index=index))


@contextmanager
def _getter(path: Path, places: dict[str, tuple[int, int]]) -> Iterator[Getter]:
    with _opened(path) as file:

        def get(place: str, start: int, end: int) -> NDArray[np.generic]:
            number, index = places[place]
            if index == _master(file, number):
                values = file.get_master(number, record_offset=start, record_count=end - start)
                return np.asarray(values)
            taken = file.get(
                group=number, index=index, record_offset=start, record_count=end - start
            )
            return np.asarray(taken.samples)

        yield get
