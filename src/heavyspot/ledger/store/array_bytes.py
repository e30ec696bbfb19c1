"""Arrays as bytes in the ledger: npz without pickles, compressed."""

from __future__ import annotations

import io
from typing import Any

import numpy as np

from ...quantities.arrays import Array


def pack(arrays: dict[str, Array]) -> bytes:
    """Return named arrays as bytes; complex128 becomes complex64, float64 becomes float32."""
    small = {
        k: v.astype(np.complex64 if np.iscomplexobj(v) else np.float32) for k, v in arrays.items()
    }
    buffer = io.BytesIO()
    save: Any = np.savez_compressed
    save(buffer, **small)
    return buffer.getvalue()


def unpack(data: bytes) -> dict[str, Array]:
    """Return what `pack` made, in double precision."""
    with np.load(io.BytesIO(data), allow_pickle=False) as file:
        stored = {k: file[k] for k in file.files}  # each look at the file reads it anew
    return {
        k: v.astype(np.complex128 if np.iscomplexobj(v) else np.float64) for k, v in stored.items()
    }
