"""HDF5, and the MAT-files of version 7.3 that are HDF5: datasets in groups, through h5py.

The rate is looked for as an attribute (``sample_rate_hz``, ``fs`` ...) of the datasets, their groups and
the file, or as a single number beside them. A dataset's ``unit`` attribute is taken as its unit.
"""

from __future__ import annotations

from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path
from typing import Any

import numpy as np

from ...quantities.errors import UnreadableFile, need
from ..recording import Recording
from ..sidecar import Sidecar
from .arrays import FoundArray, FoundArrays, Getter, recording_of, samples_first

_UNITS = ("unit", "units", "unit_str", "unit_string")
_NUMBERS = {"double", "single", *(f"{u}int{n}" for u in ("", "u") for n in (8, 16, 32, 64))}
"""MATLAB_class of numbers: text, cells and objects are stored as numbers too."""


class Hdf5Reader:
    """Reads one-dimensional datasets of equal length, or a single wide one."""

    name = "hdf5"
    suffixes = (".h5", ".hdf5", ".hdf", ".mat")

    def recognise(self, head: bytes, name: str) -> bool:
        """HDF5 has a fixed signature; a MAT-file of version 7.3 a text that names it."""
        return head[:8] == b"\x89HDF\r\n\x1a\n" or is_mat_73(head)

    def read(self, path: Path, sidecar: Sidecar | None) -> Recording:
        """Return the recording."""
        need("h5py", "hdf5", "Recordings in HDF5 and MAT-files of version 7.3")
        import h5py

        try:
            with h5py.File(path, "r") as file:
                found = _found(file, path)
        except (OSError, RuntimeError, KeyError) as fault:
            raise UnreadableFile(
                f"{path.name} is damaged ({str(fault)[:80]}).", remedy="Export it again."
            ) from None
        return recording_of(path, found, sidecar)


def is_mat_73(head: bytes) -> bool:
    """Return whether a MAT-file's head says HDF5 (the version 0x0200 behind the text)."""
    return head[:6] == b"MATLAB" and head[124:126] in (b"\x00\x02", b"\x02\x00")


def _found(file: Any, path: Path) -> FoundArrays:
    arrays: list[FoundArray] = []
    numbers: dict[str, float] = dict(_rates(file, ""))

    def visit(place: str, item: Any) -> None:
        numbers.update(_rates(item, place))
        if place.startswith("#") or "/#" in place or not _numeric(item):
            return
        if item.size == 1 and item.ndim <= 2:
            numbers[place] = float(np.asarray(item[()]).ravel()[0])
        elif item.ndim in (1, 2):
            arrays.append(FoundArray(place, _shape(item), _unit(item), _own_rate(item)))

    file.visititems(visit)
    return FoundArrays(tuple(arrays), lambda: _getter(path), numbers)


def _numeric(item: Any) -> bool:
    import h5py

    if not isinstance(item, h5py.Dataset) or item.dtype.kind not in "fiu":
        return False
    kind = item.attrs.get("MATLAB_class")
    if kind is None:
        return True
    return (kind.decode() if isinstance(kind, bytes) else str(kind)) in _NUMBERS


def _shape(item: Any) -> tuple[int, ...]:
    """Return the shape; a row or a column of a matrix is flat."""
    shape = tuple(int(n) for n in item.shape)
    return (max(shape),) if len(shape) == 2 and min(shape) == 1 else shape


def _unit(item: Any) -> str:
    for key in _UNITS:
        if (said := item.attrs.get(key)) is not None:
            return said.decode(errors="replace") if isinstance(said, bytes) else str(said)
    return ""


def _own_rate(item: Any) -> float | None:
    said = item.attrs.get("sample_rate_hz")
    return None if said is None else float(np.asarray(said).ravel()[0])


def _rates(item: Any, place: str) -> Iterator[tuple[str, float]]:
    """Yield the single numbers among the attributes of a group or the file, as if they stood in it."""
    around = f"{place}/" if place else ""
    for key in item.attrs:
        value = np.asarray(item.attrs[key])
        if value.size == 1 and value.dtype.kind in "fiu":
            yield f"{around}{key}", float(value.ravel()[0])


@contextmanager
def _getter(path: Path) -> Iterator[Getter]:
    import h5py

    with h5py.File(path, "r") as file:

        def get(place: str, start: int, end: int) -> Any:
            item = file[place]
            if item.ndim == 2 and item.shape[1] > item.shape[0]:
                return item[:, start:end].T
            return samples_first(item, start, end)

        yield get
