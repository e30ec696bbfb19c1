"""What a rig file says of its channels, for a recording that came without a word of its own."""

from __future__ import annotations

import json
from dataclasses import replace
from pathlib import Path
from typing import Any

from ...quantities.errors import UnreadableFile
from ...quantities.units import ACCELERATION_IN_G
from ...sources.readers import open_recording
from ...sources.recording import Channel, Recording
from ...sources.sidecar import Stated, describe
from ...sources.sound_card import RigFile


def facts_of(path: Path, rig: RigFile) -> str:
    """Return the text of a sidecar for a recording that a rig's own recorder made.

    Channels that the file names are found by their names, whatever their order; only where it names none are they
    taken in the rig's order.

    Raises
    ------
    UnreadableFile
        The file cannot be read, has another number of channels or another rate than the rig, or names others.
    """
    opened = _opened(path, rig.sample_rate_hz)
    _refuse_other_rate(opened, rig, path.name)
    order = _order(opened, rig, path.name)
    told = rig.description()
    content: dict[str, Any] = describe(
        tuple(
            _in_its_unit(told.channels[i], own.unit)
            for i, own in zip(order, opened.channels, strict=True)
        ),
        sample_rate_hz=opened.sample_rate_hz,
        rotation=rig.rotation,
        recorded_at=opened.recorded_at,
        rig=rig.name,
    )
    return json.dumps(content, indent=1, ensure_ascii=False) + "\n"


def _in_its_unit(channel: Channel, unit: str) -> Channel:
    """Return a rig's channel for numbers that are in a unit already; full scale is of stored shares alone."""
    if unit == channel.unit:
        return replace(channel, full_scale=1.0)
    if unit in ACCELERATION_IN_G and channel.quantity == "acceleration":
        return replace(channel, unit=unit, full_scale=1.0, sensitivity=None)
    return channel


def _opened(path: Path, rate_hz: float) -> Recording:
    """Open a recording by its own rate; by the rig's only where it states none."""
    try:
        return open_recording(path)
    except UnreadableFile:
        return open_recording(path, stated=Stated(sample_rate_hz=rate_hz))


def _refuse_other_rate(opened: Recording, rig: RigFile, name: str) -> None:
    if abs(opened.sample_rate_hz / rig.sample_rate_hz - 1) > 1e-3:
        raise UnreadableFile(
            f"{name} has {opened.sample_rate_hz:g} samples a second; {rig.name} has {rig.sample_rate_hz:g}.",
            remedy="Correct the rig file, or find out which rig made it.",
        )


def _order(opened: Recording, rig: RigFile, name: str) -> list[int]:
    """Return, for each channel of the file, which of the rig's it is."""
    theirs = [c.name.strip().lower() for c in opened.channels]
    ours = [c.name.strip().lower() for c in rig.channel]
    if len(theirs) != len(ours):
        raise UnreadableFile(
            f"{name} has {len(theirs)} channels; {rig.name} has {len(ours)}.",
            remedy="Describe every channel in the rig file, or lay a sidecar beside the recording.",
        )
    if sorted(theirs) == sorted(ours):
        return [ours.index(t) for t in theirs]
    if all(t == f"channel {i}" for i, t in enumerate(theirs, start=1)):
        return list(range(len(ours)))
    raise UnreadableFile(
        f"{name} names its channels {', '.join(theirs)}; {rig.name} has {', '.join(ours)}.",
        remedy="Name them alike in the rig file, or lay a sidecar beside the recording.",
    )
