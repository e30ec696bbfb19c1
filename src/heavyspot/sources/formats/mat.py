"""MAT-files of versions 4 to 7 (level 5), through scipy: variables and the fields of structures."""

from __future__ import annotations

from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path
from typing import Any

import numpy as np
from numpy.typing import NDArray

from ...quantities.errors import UnreadableFile
from ..recording import Recording
from ..sidecar import Sidecar
from .arrays import FoundArray, FoundArrays, Getter, recording_of, samples_first
from .hdf5 import is_mat_73


class MatReader:
    """Reads vectors of equal length, or a single matrix, among variables and structures."""

    name = "mat"
    suffixes = (".mat",)

    def recognise(self, head: bytes, name: str) -> bool:
        """Level 5 begins with a text and its version 0x0100; level 4 has only its suffix."""
        if head[:6] == b"MATLAB" and head[124:126] in (b"\x00\x01", b"\x01\x00"):
            return True
        old = name.lower().endswith(".mat") and 0 in head[:4]
        return old and not is_mat_73(head)

    def read(self, path: Path, sidecar: Sidecar | None) -> Recording:
        """Return the recording; the samples are read whole."""
        leaves = list(_leaves(_loaded(path)))
        held = {p: v for p, v in leaves if v.dtype.kind in "fiu" and v.size}
        texts = {p: str(v.ravel()[0]) for p, v in leaves if v.dtype.kind == "U" and v.size == 1}
        numbers = {p: float(v.ravel()[0]) for p, v in held.items() if v.size == 1}
        places = [p for p, v in held.items() if v.size > 1 and v.ndim <= 2]
        arrays = tuple(FoundArray(p, _shape(held[p]), _unit_of(p, places, texts)) for p in places)
        return recording_of(path, FoundArrays(arrays, lambda: _getter(held), numbers), sidecar)


def _shape(values: NDArray[np.generic]) -> tuple[int, ...]:
    return (values.size,) if min(values.shape) == 1 else values.shape


def _loaded(path: Path) -> dict[str, Any]:
    from scipy.io import loadmat

    try:
        return {k: v for k, v in loadmat(path).items() if not k.startswith("__")}
    except Exception as fault:  # a damaged file raises many kinds, zlib's own among them
        raise UnreadableFile(
            f"{path.name} is damaged ({str(fault)[:80]}).", remedy="Save it again, as version 7."
        ) from None


def _leaves(content: dict[str, Any], around: str = "") -> Iterator[tuple[str, NDArray[Any]]]:
    """Yield arrays with their place; a structure of one element is a group, and so is each of several."""
    for name, value in content.items():
        place = f"{around}{name}"
        if not isinstance(value, np.ndarray):
            continue
        if value.dtype.names is None:
            yield place, value
            continue
        several = value.size > 1
        for i, one in enumerate(value.ravel(), start=1):
            fields = {n: one[n] for n in value.dtype.names}
            yield from _leaves(fields, f"{place}({i})/" if several else f"{place}/")


def _unit_of(place: str, places: list[str], texts: dict[str, str]) -> str:
    """Return the unit a structure states beside its data; only where it holds one array."""
    group = place.rpartition("/")[0]
    if not group or sum(p.rpartition("/")[0] == group for p in places) > 1:
        return ""
    said = (texts.get(f"{group}/{key}") for key in ("unit", "units", "unit_str"))
    return next((s for s in said if s), "")


@contextmanager
def _getter(held: dict[str, NDArray[np.generic]]) -> Iterator[Getter]:
    def get(place: str, start: int, end: int) -> NDArray[np.generic]:
        values = held[place]
        return samples_first(values.ravel() if min(values.shape) == 1 else values, start, end)

    yield get
