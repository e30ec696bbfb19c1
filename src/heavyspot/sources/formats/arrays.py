"""Files that hold named arrays in groups: which are the channels, which the time, and how fast they were sampled.

A file may hold several recordings; then the group is asked for, never chosen. Names and units are the
file's; a rate whose unit is not said is taken as samples a second only where it can be nothing else.
"""

from __future__ import annotations

from collections.abc import Callable, Iterator, Mapping, Sequence
from contextlib import AbstractContextManager, contextmanager
from dataclasses import dataclass, field
from pathlib import Path

import numpy as np
from numpy.typing import NDArray

from ...quantities.errors import HeavyspotError, UnreadableFile
from ..readers import described, guessed_channel
from ..recording import Channel, Recording
from ..sidecar import Sidecar
from .columns import Column, column_of
from .time_base import TimeBase, refuse_gap, time_base

FEWEST = 3
"""Samples in an array that may be a channel."""

MOST_CHANNELS = 256

_LOOKED_AT = 2000

_RATE_HZ = {
    "sample_rate_hz", "sampling_rate_hz", "sampling_frequency_hz", "samplerate_hz", "fs_hz", "rate_hz",
}  # fmt: skip
_RATE = {
    "fs", "srate", "sfreq", "fsample", "samplerate", "sample_rate", "samplingrate", "sampling_rate",
    "samplefreq", "sample_freq", "samplingfrequency", "sampling_frequency", "sample_frequency",
}  # fmt: skip

Getter = Callable[[str, int, int], NDArray[np.generic]]
"""Gives an array's samples from one number to another, samples first."""


@dataclass(frozen=True)
class FoundArray:
    """One array of a file.

    Attributes
    ----------
    place : str
        Its groups and its name, with slashes.
    shape : tuple of int
        As the file has it.
    unit : str
        Empty where none is said.
    rate_hz : float or None
        Where it states its own.
    """

    place: str
    shape: tuple[int, ...]
    unit: str = ""
    rate_hz: float | None = None

    @property
    def group(self) -> str:
        """The groups it stands in; empty at the top."""
        return self.place.rpartition("/")[0]

    @property
    def column(self) -> Column:
        """Its name and its unit."""
        said = column_of(self.place.rpartition("/")[2])
        return Column(said.name, self.unit or said.unit)

    @property
    def count(self) -> int:
        """How many samples: the longer side."""
        return max(self.shape)

    @property
    def width(self) -> int:
        """How many channels it holds."""
        return min(self.shape) if len(self.shape) == 2 else 1


@dataclass(frozen=True)
class FoundArrays:
    """What a file holds, and how to get at it.

    Attributes
    ----------
    arrays : tuple of FoundArray
        Real numbers, one- or two-dimensional.
    open : callable
        Gives a getter while the file is open.
    numbers : mapping of str to float
        Single numbers by their place: a rate may be among them.
    apart : bool
        Whether arrays of different groups never belong together.
    recorded_at : str
        ISO 8601, UTC; empty when unknown.
    """

    arrays: tuple[FoundArray, ...]
    open: Callable[[], AbstractContextManager[Getter]]
    numbers: Mapping[str, float] = field(default_factory=dict)
    apart: bool = False
    recorded_at: str = ""
    notes: tuple[str, ...] = ()


def recording_of(path: Path, found: FoundArrays, sidecar: Sidecar | None) -> Recording:
    """Return the recording in a file of named arrays.

    Parameters
    ----------
    sidecar : Sidecar or None
        Its ``group`` names one of several.

    Raises
    ------
    UnreadableFile
        Which arrays are the channels, or how fast they were sampled, is not said.
    """
    group = sidecar.group.strip("/") if sidecar else ""
    chosen, clock = _chosen(found, group, path.name)
    rate, notes = _stated_rate(found, chosen, sidecar, path.name)
    base = _base(found, clock, rate, sidecar, path.name)
    recording = Recording(
        channels=_channels(chosen),
        sample_rate_hz=base.rate_hz,
        n_samples=chosen[0].count,
        opener=ArrayBlocks(path.name, found.open, tuple(chosen), clock, base),
        notes=(*found.notes, *notes, *base.notes),
        recorded_at=found.recorded_at,
        path=path,
    )
    loose = clock is not None or found.apart
    return described(recording, sidecar, rate_may_differ=loose, units_said=True)


@dataclass(frozen=True)
class ArrayBlocks:
    """Opens arrays as blocks of samples; a time beside them is followed to the end."""

    name: str
    open: Callable[[], AbstractContextManager[Getter]]
    arrays: tuple[FoundArray, ...]
    clock: FoundArray | None
    base: TimeBase

    def __call__(self, size: int) -> Iterator[NDArray[np.float32]]:
        """Yield blocks of (size, channels), the last one shorter."""
        expected: float | None = None
        with self._refusing() as get:
            for at in range(0, self.arrays[0].count, size):
                end = min(at + size, self.arrays[0].count)
                if self.clock is not None:
                    expected = self._followed(get(self.clock.place, at, end), expected)
                parts = [np.asarray(get(a.place, at, end), np.float32) for a in self.arrays]
                yield np.concatenate([p.reshape(end - at, -1) for p in parts], axis=1)

    @contextmanager
    def _refusing(self) -> Iterator[Getter]:
        """Open the file; whatever its library raises while it is read means that it is damaged."""
        try:
            with self.open() as get:
                yield get
        except (HeavyspotError, GeneratorExit):
            raise
        except Exception as fault:  # each library raises kinds of its own
            raise UnreadableFile(
                f"{self.name} is damaged ({str(fault)[:80]}).", remedy="Export it again."
            ) from None

    def _followed(self, time: NDArray[np.generic], expected: float | None) -> float:
        time_s = np.asarray(time, np.float64).ravel() * self.base.factor
        begin = float(time_s[0]) if expected is None else expected
        refuse_gap(time_s, begin, self.base.rate_hz, self.name)
        return float(time_s[-1]) + 1 / self.base.rate_hz


def samples_first(values: NDArray[np.generic], start: int, end: int) -> NDArray[np.generic]:
    """Return samples `start` to `end` along the longer side, as the first axis."""
    if values.ndim == 2 and values.shape[1] > values.shape[0]:
        return values[:, start:end].T
    return values[start:end]


def _chosen(
    found: FoundArrays, group: str, name: str
) -> tuple[list[FoundArray], FoundArray | None]:
    """Return the arrays that are channels, and the one that is their time."""
    usable = [a for a in found.arrays if _usable(a)]
    if group:
        usable = _within(usable, group, name)
    sets = _sets(usable, found.apart and not group)
    if len(sets) > 1:
        shown = ", ".join(f'"{_short(s)}" ({sum(a.width for a in s)} x {s[0].count})' for s in sets)
        raise UnreadableFile(
            f"{name} has {len(sets)} groups with samples: {shown}.",
            remedy='Say which with --group, or with "group" in its sidecar.',
        )
    if not sets:
        shown = ", ".join(f"{a.place} {a.shape}" for a in usable) or "none"
        raise UnreadableFile(
            f"{name}: cannot tell which arrays are the channels (found {shown}).",
            remedy="Name them with --group, commas between; or store one array a channel, of equal length.",
        )
    clocks = [a for a in sets[0] if a.column.is_time and a.width == 1]
    channels = [a for a in sets[0] if a not in clocks]
    if not channels or len(clocks) > 1:
        raise UnreadableFile(
            f"{name} has {len(channels)} channels and {len(clocks)} times in its group.",
            remedy="Export the channels with one column of time.",
        )
    return channels, clocks[0] if clocks else None


def _usable(a: FoundArray) -> bool:
    """Return whether an array may hold channels: long, and clearly longer than wide."""
    if a.count < FEWEST:
        return False
    return len(a.shape) == 1 or (a.width <= MOST_CHANNELS and (a.width == 1 or a.count > a.width))


def _within(arrays: list[FoundArray], group: str, name: str) -> list[FoundArray]:
    """Return what a group holds, or the arrays that are named one by one with commas between."""
    named = [g.strip().strip("/") for g in group.split(",")]
    inside = [a for a in arrays if a.place in named]
    if len(named) == 1:
        inside = inside or [a for a in arrays if a.group == group]
        inside = inside or [a for a in arrays if a.group.startswith(group + "/")]
    if not inside or len(named) > max(1, len(inside)):
        there = sorted({a.group or a.place for a in arrays})
        raise UnreadableFile(
            f'{name} has no group "{group}" with samples.',
            remedy=f"It has: {', '.join(there) or 'none'}.",
        )
    return inside


def _sets(arrays: list[FoundArray], apart: bool) -> list[list[FoundArray]]:
    """Return the recordings that arrays may be: flat ones of equal length, or one wide array each."""
    groups = list(dict.fromkeys(a.group for a in arrays))
    if not apart and _together(arrays, groups):
        return [arrays]
    sets: list[list[FoundArray]] = []
    for g in groups:
        inside = [a for a in arrays if a.group == g]
        wide = [a for a in inside if a.width > 1]
        if _together(inside, [g]):
            sets.append(inside)
        elif len(inside) == len(wide):
            sets += [[w] for w in wide]
        else:
            return []
    return sets


def _together(arrays: list[FoundArray], groups: list[str]) -> bool:
    """Return whether arrays are one recording beyond doubt."""
    if len({a.count for a in arrays}) != 1 or sum(a.width > 1 for a in arrays) > 1:
        return False
    others = [a for a in arrays if not a.column.is_time]
    if any(a.width > 1 for a in arrays):
        return len(others) == 1 and len(groups) == 1
    return len(groups) == 1 or len(set(_names(others))) == len(others)


def _names(arrays: Sequence[FoundArray]) -> list[str]:
    """Return names that tell arrays apart: their own, else that of the group each has to itself."""
    own = [a.column.name for a in arrays]
    if len(set(own)) == len(own):
        return own
    return [a.group.rpartition("/")[2] for a in arrays]


def _short(arrays: list[FoundArray]) -> str:
    return arrays[0].place if len(arrays) == 1 else arrays[0].group or "/"


def _channels(arrays: Sequence[FoundArray]) -> tuple[Channel, ...]:
    if arrays[0].width > 1:
        wide = arrays[0]
        return tuple(
            guessed_channel(f"channel {i + 1}", wide.column.unit) for i in range(wide.width)
        )
    named = zip(_names(arrays), arrays, strict=True)
    return tuple(guessed_channel(n, a.column.unit) for n, a in named)


def _stated_rate(
    found: FoundArrays, chosen: Sequence[FoundArray], sidecar: Sidecar | None, name: str
) -> tuple[float | None, tuple[str, ...]]:
    """Return the rate that channels or a single number beside them state."""
    own = {a.rate_hz for a in chosen}
    if own != {None}:
        if len(own) > 1:
            raise UnreadableFile(
                f"{name}: its channels differ in sample rate.",
                remedy="Export all channels with one rate and length.",
            )
        return own.pop(), ()
    if sidecar and sidecar.sample_rate_hz:
        return None, ()
    return _number_rate(found.numbers, chosen[0].group, name)


def _number_rate(
    numbers: Mapping[str, float], group: str, name: str
) -> tuple[float | None, tuple[str, ...]]:
    """Return the nearest rate: in the channels' own group, else in the one around it, and so on."""
    while True:
        for place, value in numbers.items():
            around, _, label = place.rpartition("/")
            if around == group and label.lower() in _RATE_HZ:
                return value, ()
            if around == group and label.lower() in _RATE:
                return _plain_rate(label, value, name)
        if not group:
            return None, ()
        group = group.rpartition("/")[0]


def _plain_rate(label: str, value: float, name: str) -> tuple[float, tuple[str, ...]]:
    """Take a number without a unit as hertz where it can be no kilohertz; else it is a question."""
    if not value >= 1000:
        raise UnreadableFile(
            f'{name} states "{label}" = {value:g} without a unit: Hz or kHz?',
            remedy=f"State the samples a second with --rate, for example --rate {value:g}.",
        )
    return value, (f'"{label}" = {value:.10g} is taken as samples a second.',)


def _base(
    found: FoundArrays,
    clock: FoundArray | None,
    rate: float | None,
    sidecar: Sidecar | None,
    name: str,
) -> TimeBase:
    if clock is None:
        rate = rate or (sidecar.sample_rate_hz if sidecar else None)
        if rate is None or not rate > 0:
            raise UnreadableFile(
                f"{name} states no sample rate.",
                remedy='State it with --rate, or as "sample_rate_hz" in its sidecar.',
            )
        return TimeBase(float(rate))
    with found.open() as get:
        start = np.asarray(get(clock.place, 0, min(_LOOKED_AT, clock.count)), np.float64)
    return time_base((clock.column,), start.reshape(-1, 1), sidecar, rate, name)
