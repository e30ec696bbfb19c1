"""Universal File Format, data set 58 (function at nodal DOF), text and binary, through pyuff."""

from __future__ import annotations

from collections.abc import Iterator
from pathlib import Path
from typing import Any

import numpy as np
from numpy.typing import NDArray

from ..quantities.errors import UnreadableFile
from .csv_text import snapped_rate
from .readers import described, guessed_channel
from .recording import Recording
from .sidecar import Sidecar

_ACCELERATION = 12
"""Specific data type 12 of data set 58: acceleration."""


class UffReader:
    """Reads time responses of data set 58; each set is a channel."""

    name = "uff"
    suffixes = (".uff", ".unv", ".uf58")

    def recognise(self, head: bytes, name: str) -> bool:
        """A universal file begins with a line holding -1 and one holding the set's number."""
        lines = head.split(b"\n", 2)
        return len(lines) > 1 and lines[0].strip() == b"-1" and lines[1].strip()[:2] == b"58"

    def read(self, path: Path, sidecar: Sidecar | None) -> Recording:
        """Return the recording; the printed time step is rounded, so usual rates are taken."""
        sets = _time_responses(path)
        first = sets[0]
        sizes = {len(s["data"]) for s in sets}
        steps = {float(s["abscissa_inc"]) for s in sets}
        if len(sizes) > 1 or len(steps) > 1:
            raise UnreadableFile(
                f"{path.name}: its {len(sets)} channels differ in length or sample rate.",
                remedy="Export all channels with one rate and length.",
            )
        step = steps.pop()
        if not step > 0:
            raise UnreadableFile(
                f"{path.name} has a time step of {step:g} s.", remedy="Export it with even spacing."
            )
        rate, notes = snapped_rate(1 / step)
        data = np.stack([np.asarray(s["data"], np.float32) for s in sets], axis=1)
        channels = []
        for i, s in enumerate(sets):
            label = str(s["id1"]).strip()
            label = label if label not in ("", "NONE") else str(s["rsp_ent_name"]).strip()
            label = label if label not in ("", "NONE", "None") else f"channel {i + 1}"
            unit = str(s["ordinate_axis_units_lab"]).strip()
            if int(s["ordinate_spec_data_type"]) == _ACCELERATION and unit not in ("g", "G"):
                unit = "m/s²"  # the unit's byte is often not UTF-8; the data type says it
            channels.append(guessed_channel(label, "" if unit == "NONE" else unit))

        def opener(size: int) -> Iterator[NDArray[np.float32]]:
            for at in range(0, data.shape[0], size):
                yield data[at : at + size]

        recording = Recording(
            channels=tuple(channels),
            sample_rate_hz=rate,
            n_samples=len(first["data"]),
            opener=opener,
            notes=notes,
            path=path,
        )
        return described(recording, sidecar, rate_may_differ=True)


def _time_responses(path: Path) -> list[dict[str, Any]]:
    import pyuff

    try:
        file = pyuff.UFF(str(path))
        types = file.get_set_types()
        sets = [file.read_sets(i) for i in range(len(types)) if int(types[i]) == 58]
    except Exception as fault:  # pyuff raises plain Exception for anything it does not expect
        raise UnreadableFile(
            f"{path.name} is damaged or cut short ({str(fault)[:80]}).",
            remedy="Export the recording again.",
        ) from None
    found = [
        s for s in sets if int(s.get("func_type", 0)) in (0, 1) and not np.iscomplexobj(s["data"])
    ]
    if not found:
        raise UnreadableFile(
            f"{path.name} holds no time response (data set 58, function type 1).",
            remedy="Export the raw signal, not a spectrum or response function.",
        )
    for s in found:
        if len(s["data"]) != int(s["num_pts"]):
            raise UnreadableFile(
                f"{path.name} is cut short: {int(s['num_pts'])} samples promised, {len(s['data'])} found.",
                remedy="Copy the file again.",
            )
    return found
