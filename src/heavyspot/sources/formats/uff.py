"""Universal File Format, data set 58 (function at nodal DOF), text and binary, through pyuff."""

from __future__ import annotations

import re
from collections.abc import Iterator
from pathlib import Path
from typing import Any

import numpy as np
from numpy.typing import NDArray

from ...quantities.errors import UnreadableFile
from ..readers import described, guessed_channel
from ..recording import Channel, Recording
from ..sidecar import Sidecar
from .time_base import snapped_rate

_BEGIN = re.compile(rb"\s*-1\s*\n\s*\d+b?\s")

_ACCELERATION = 12
"""Specific data type 12 of data set 58: acceleration."""


class UffReader:
    """Reads time responses of data set 58; each set is a channel."""

    name = "uff"
    suffixes = (".uff", ".unv", ".uf58")

    def recognise(self, head: bytes, name: str) -> bool:
        """A universal file begins with a line holding -1 and one holding the first set's number."""
        return _BEGIN.match(head) is not None

    def read(self, path: Path, sidecar: Sidecar | None) -> Recording:
        """Return the recording; the printed time step is rounded, so usual rates are taken."""
        sets = _chosen(_time_responses(path), sidecar.group if sidecar else "", path.name)
        step = float(sets[0]["abscissa_inc"])
        if not step > 0:
            raise UnreadableFile(
                f"{path.name} has a time step of {step:g} s.", remedy="Export it with even spacing."
            )
        rate, notes = snapped_rate(1 / step)
        data = np.stack([np.asarray(s["data"], np.float32) for s in sets], axis=1)
        channels = tuple(_channel(s, i) for i, s in enumerate(sets))

        def opener(size: int) -> Iterator[NDArray[np.float32]]:
            for at in range(0, data.shape[0], size):
                yield data[at : at + size]

        recording = Recording(
            channels=channels,
            sample_rate_hz=rate,
            n_samples=data.shape[0],
            opener=opener,
            notes=notes,
            path=path,
        )
        return described(recording, sidecar, rate_may_differ=True)


def _channel(s: dict[str, Any], i: int) -> Channel:
    label = str(s["id1"]).strip()
    label = label if label not in ("", "NONE") else str(s["rsp_ent_name"]).strip()
    label = label if label not in ("", "NONE", "None") else f"channel {i + 1}"
    unit = str(s["ordinate_axis_units_lab"]).strip()
    if int(s["ordinate_spec_data_type"]) == _ACCELERATION and unit not in ("g", "G"):
        unit = "m/s²"  # the unit's byte is often not UTF-8; the data type says it
    return guessed_channel(label, "" if unit == "NONE" else unit)


def _chosen(sets: list[dict[str, Any]], group: str, name: str) -> list[dict[str, Any]]:
    """Return the sets of one measurement: of one length and step, each response once.

    A file may hold several measurements one after another; which is asked, by its number from 1.
    """
    runs: list[list[dict[str, Any]]] = []
    seen: set[tuple[object, ...]] = set()
    for s in sets:
        kind = _kind(s)
        key = (*kind, s["rsp_ent_name"], s["rsp_node"], s["rsp_dir"], s["id1"])
        if not runs or kind != _kind(runs[-1][0]) or (key in seen and _numbered(s)):
            runs.append([])
            seen = set()
        runs[-1].append(s)
        seen.add(key)
    known = {str(i): r for i, r in enumerate(runs, start=1)}
    if group in known or (not group and len(runs) == 1):
        return known[group or "1"]
    shown = ", ".join(f"{i} ({len(r)} x {int(r[0]['num_pts'])})" for i, r in known.items())
    what = f'no measurement "{group}"' if group else f"{len(runs)} measurements"
    raise UnreadableFile(
        f"{name} has {what}: {shown}.",
        remedy='Say which with --group, or with "group" in its sidecar.',
    )


def _kind(s: dict[str, Any]) -> tuple[object, ...]:
    return int(s["num_pts"]), float(s["abscissa_inc"]), s.get("load_case_id")


def _numbered(s: dict[str, Any]) -> bool:
    """Return whether a set says where it was measured: without a node all look alike."""
    return int(s["rsp_node"]) != 0


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
