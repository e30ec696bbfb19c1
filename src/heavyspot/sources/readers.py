"""Finding the reader of a file: plug-ins that say whether they know it; several are a question."""

from __future__ import annotations

import re
from dataclasses import replace
from functools import cache
from importlib.metadata import entry_points
from pathlib import Path
from typing import Any, Protocol

from ..quantities.errors import UnreadableFile
from .recording import Channel, Recording
from .sidecar import Sidecar, Stated, load_sidecar, stated_too

GROUP = "heavyspot.readers"


class Reader(Protocol):
    """What a plug-in offers. Both methods may raise `UnreadableFile`."""

    name: str
    suffixes: tuple[str, ...]

    def recognise(self, head: bytes, name: str) -> bool:
        """Return whether a file with these first 512 bytes and this name is of this format."""
        ...

    def read(self, path: Path, sidecar: Sidecar | None) -> Recording:
        """Return the recording; its samples are read only when its blocks are asked for."""
        ...


@cache
def all_readers() -> tuple[Reader, ...]:
    """Return one of each reader that is installed; looked up once, since installing needs a new start anyway."""
    found: list[Reader] = []
    for point in sorted(entry_points(group=GROUP), key=lambda p: p.name):
        made: Any = point.load()
        found.append(made())
    return tuple(found)


def open_recording(
    path: str | Path, *, format: str | None = None, stated: Stated | None = None
) -> Recording:
    """Return the recording in a file.

    Parameters
    ----------
    path : str or Path
    format : str, optional
        Name of the reader to use when several know the file.
    stated : Stated, optional
        What the file leaves open: its rate, the unit of its time, the group to take.

    Raises
    ------
    UnreadableFile
        No such file, no reader knows it, several do, or its reader cannot take it.
    BadInput
        What is stated is not of its kind, or the sidecar says another thing.
    """
    path = Path(path)
    try:
        with path.open("rb") as file:
            head = file.read(512)
    except OSError as fault:
        raise UnreadableFile(
            f"{path} cannot be opened: {fault.strerror}.", remedy="Check the name and the folder."
        ) from None
    if not head:
        raise UnreadableFile(f"{path.name} is empty.", remedy="Copy the file again from the rig.")
    readers = all_readers()
    known = [r for r in readers if r.recognise(head, path.name)]
    if format is not None:
        known = [r for r in readers if r.name == format]
    if len(known) == 1:
        return known[0].read(path, stated_too(load_sidecar(path), stated or Stated()))
    names = ", ".join(r.name for r in (known or readers))
    if known:
        raise UnreadableFile(
            f"{path.name} could be read as: {names}.", remedy="Say which with --format."
        )
    shown = ", ".join(s for r in readers for s in r.suffixes)
    raise UnreadableFile(
        f"{path.name} is of no known format (it begins with {head[:8]!r}).",
        remedy=f"Known formats: {names} ({shown}).",
    )


def described(
    recording: Recording,
    sidecar: Sidecar | None,
    *,
    rate_may_differ: bool,
    units_said: bool = False,
) -> Recording:
    """Return the recording with what its sidecar says.

    Parameters
    ----------
    rate_may_differ : bool
        Whether the file's own rate is only rounded text, so that the sidecar's may refine it by
        up to 0.1 %. Otherwise the two must agree.
    units_said : bool
        Whether the units of the recording's channels stand in the file: its numbers are in them, and a
        sidecar that scales them or names another unit is another file's.

    Raises
    ------
    UnreadableFile
        Channel count, sample rate or units disagree.
    """
    if sidecar is None:
        return recording
    name = recording.path.name if recording.path else "the recording"
    channels = sidecar.as_channels() or recording.channels
    if len(channels) != len(recording.channels):
        raise UnreadableFile(
            f"{name} has {len(recording.channels)} channels; its sidecar describes {len(channels)}.",
            remedy="Describe every channel, in file order.",
        )
    if units_said:
        _refuse_other_units(recording.channels, channels, name)
    rate = recording.sample_rate_hz
    if sidecar.sample_rate_hz is not None:
        off = abs(sidecar.sample_rate_hz / rate - 1)
        if off > (1e-3 if rate_may_differ else 1e-9):
            raise UnreadableFile(
                f"{name} has {rate:g} samples a second; its sidecar says {sidecar.sample_rate_hz:g}.",
                remedy="Correct the sidecar, or find out which file belongs to it.",
            )
        rate = sidecar.sample_rate_hz
    notes = recording.notes
    unknown = sidecar.unknown_keys()
    if unknown:
        notes = (*notes, "The sidecar has keys that are not known: " + ", ".join(unknown) + ".")
    oil = sidecar.oil
    return replace(
        recording,
        channels=channels,
        sample_rate_hz=rate,
        rotation=sidecar.rotation or recording.rotation,
        recorded_at=sidecar.recorded_at or recording.recorded_at,
        rig=sidecar.rig or recording.rig,
        operator=sidecar.operator or recording.operator,
        oil_temperature_c=oil.temperature_c if oil else recording.oil_temperature_c,
        oil_pressure_kpa=oil.pressure_kpa if oil else recording.oil_pressure_kpa,
        lost_samples=sidecar.lost_samples,
        simulated=sidecar.simulated is not None,
        notes=notes,
    )


def _refuse_other_units(
    said: tuple[Channel, ...], described: tuple[Channel, ...], name: str
) -> None:
    for own, other in zip(said, described, strict=True):
        same = _UNITS.get(other.unit, other.unit) == own.unit and other.full_scale == 1.0
        if own.unit != "FS" and not same:
            raise UnreadableFile(
                f'{name} gives "{own.name}" in {own.unit}; its sidecar says {other.unit}, '
                f"full scale {other.full_scale:g}.",
                remedy="That sidecar may be of another file of this name; correct it, or name this file anew.",
            )


_UNITS = {
    "m/s^2": "m/s²", "m/s2": "m/s²", "m/s**2": "m/s²", "m/s/s": "m/s²", "m/sM-2": "m/s²", "ms-2": "m/s²",
    "m/(s^2)": "m/s²", "m.s-2": "m/s²",
    "volt": "V", "volts": "V", "Volt": "V", "Volts": "V", "millivolt": "mV",
    "G": "g", "gn": "g", "g_n": "g",
}  # fmt: skip

_PHASE_WORDS = {
    "phase", "pickup", "tacho", "tach", "tachometer", "mark", "trigger", "trig", "keyway",
}  # fmt: skip

_PHASE_TERMS = ("once per turn", "per rev", "pick-up", "pick up")


def guessed_channel(name: str, unit: str) -> Channel:
    """Return a channel from its printed name and unit: only what these say, never a sensitivity or a unit."""
    unit = _UNITS.get(unit.strip(), unit.strip())
    low = name.lower()
    if _PHASE_WORDS & set(re.split(r"[^a-z]+", low)) or any(w in low for w in _PHASE_TERMS):
        from ..signal.mark.reference import ReferenceSettings

        return Channel(name, "phase", unit or "FS", reference=ReferenceSettings())
    if unit in ("g", "m/s²") or "accel" in low:
        return Channel(name, "acceleration", unit or "FS")  # no unit is a question, never g
    return Channel(name, "other", unit or "FS")
