"""From a column of times, a stated rate, or both: samples a second. What is not said is asked."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from ...quantities.errors import UnreadableFile
from ..sidecar import TIME_UNITS, Sidecar
from .columns import Column

_USUAL = (8000, 11025, 12800, 44100, 48000, 50000, 65536, 100000)
_AGREE = 1e-3
"""How far a printed time step and a stated rate may differ, relative."""


@dataclass(frozen=True)
class TimeBase:
    """How the samples lie in time.

    Attributes
    ----------
    rate_hz : float
    index : int or None
        Of the column that is the time; None where there is none.
    factor : float
        From that column's numbers to seconds.
    notes : tuple of str
        What was assumed.
    """

    rate_hz: float
    index: int | None = None
    factor: float = 1.0
    notes: tuple[str, ...] = ()


def time_base(
    columns: Sequence[Column],
    start: NDArray[np.float64],
    sidecar: Sidecar | None,
    written_hz: float | None,
    name: str,
) -> TimeBase:
    """Return the time base of a table.

    Parameters
    ----------
    columns : sequence of Column
    start : ndarray, shape (n, columns)
        Its first rows.
    sidecar : Sidecar or None
        Whose ``sample_rate_hz`` and ``time_unit`` answer what the file leaves open.
    written_hz : float or None
        A rate that stands elsewhere in the file.
    name : str
        Of the file, for messages.

    Raises
    ------
    UnreadableFile
        Neither a time with a unit nor a rate is stated, they disagree, or the steps are not even.
    """
    stated = sidecar.sample_rate_hz if sidecar else None
    unit = sidecar.time_unit if sidecar else None
    rate = stated or written_hz
    index = next((i for i, c in enumerate(columns) if c.is_time), None)
    if index is None:
        return _without_a_name(columns, start, unit, rate, name)
    column = columns[index]
    factor = column.seconds
    if factor is not None and unit and TIME_UNITS[unit] != factor:
        raise UnreadableFile(
            f"{name}: its time is in {column.unit}; {unit} was stated.",
            remedy="Leave the time unit out.",
        )
    if factor is None and unit:
        factor = TIME_UNITS[unit]
    if factor is None:
        return _of_unknown_unit(column.name, index, start[:, index], rate, name)
    return _of_known_unit(index, factor, start[:, index], rate, name)


def _of_known_unit(
    index: int, factor: float, time: NDArray[np.float64], rate: float | None, name: str
) -> TimeBase:
    printed = even_rate(time * factor, name)
    if rate is None:
        usual, notes = snapped_rate(printed)
        return TimeBase(usual, index, factor, notes)
    if abs(rate / printed - 1) > _AGREE:
        raise UnreadableFile(
            f"{name}: its time column gives {printed:g} samples a second; {rate:g} is stated.",
            remedy="Find out which is true; correct the unit of the time or the stated rate.",
        )
    return TimeBase(rate, index, factor)


def _of_unknown_unit(
    label: str, index: int, time: NDArray[np.float64], rate: float | None, name: str
) -> TimeBase:
    step = 1 / even_rate(time, name)
    if rate is None:
        raise UnreadableFile(
            f'{name}: the column "{label}" has no unit; its step is {step:g} of something.',
            remedy='Name it "time [s]" or "time [ms]", or state --time-unit or --rate.',
        )
    factor = _fitting(step, rate)
    if factor is None:
        raise UnreadableFile(
            f'{name}: steps of {step:g} in "{label}" are {rate:g} samples a second in no unit of time.',
            remedy="Correct the stated rate.",
        )
    return TimeBase(rate, index, factor)


def _fitting(step: float, rate: float) -> float | None:
    """Return what makes seconds of a step at a rate: a unit of time, or a count of samples."""
    for factor in (*sorted(set(TIME_UNITS.values())), 1 / rate):
        if abs(step * factor * rate - 1) <= _AGREE:
            return factor
    return None


def _without_a_name(
    columns: Sequence[Column],
    start: NDArray[np.float64],
    unit: str | None,
    rate: float | None,
    name: str,
) -> TimeBase:
    """Take a first column of even steps as the time only where a stated rate or unit says the same."""
    first, label = start[:, 0], columns[0].name
    even = len(columns) > 1 and not columns[0].unit and _is_even(first)
    if even and unit:
        return _of_known_unit(0, TIME_UNITS[unit], first, rate, name)
    if rate is None:
        also = f' (its first column, "{label}", rises evenly)' if even else ""
        raise UnreadableFile(
            f"{name} has no column of time and states no sample rate{also}.",
            remedy='Name the time "time [s]", or state --rate; a sidecar may hold "sample_rate_hz".',
        )
    factor = _fitting(float(first[1] - first[0]), rate) if even else None
    if factor is None:
        return TimeBase(rate)
    what = "the number of the sample" if factor == 1 / rate and first[1] - first[0] == 1 else "time"
    return TimeBase(rate, 0, factor, (f'The column "{label}" is taken as {what}.',))


def _is_even(values: NDArray[np.float64]) -> bool:
    if values.size < 3 or not np.isfinite(values).all():
        return False
    steps = np.diff(values)
    mean = float(steps.mean())
    return mean > 0 and float(np.abs(steps - mean).max()) <= 0.25 * mean


def even_rate(time_s: NDArray[np.float64], name: str) -> float:
    """Return the samples a second of evenly spaced times.

    Raises
    ------
    UnreadableFile
        Fewer than three, not finite, not rising, or uneven by more than a quarter of a step.
    """
    if time_s.size < 3:
        raise UnreadableFile(f"{name} holds {time_s.size} samples.", remedy="Export it again.")
    if not np.isfinite(time_s).all():
        raise UnreadableFile(
            f"{name}: the time column holds NaN.", remedy="Export the recording again without gaps."
        )
    step = float(time_s[-1] - time_s[0]) / (time_s.size - 1)
    off = np.abs(np.diff(time_s) - step)
    if step <= 0 or off.max() > 0.25 * step:
        raise UnreadableFile(
            f"{name}: time steps are not even (near sample {int(np.argmax(off))}).",
            remedy="Export with one sample rate; Heavyspot does not resample.",
        )
    return 1 / step


def snapped_rate(rate_hz: float) -> tuple[float, tuple[str, ...]]:
    """Return a usual rate within 0.01 % of `rate_hz` (printed time steps are rounded), and a note."""
    if abs(round(rate_hz) / rate_hz - 1) < 1e-9:  # of binary fractions, not of print
        return float(round(rate_hz)), ()
    usual = [b * 2.0**k for b in _USUAL for k in range(-2, 6)]
    near = min(usual, key=lambda u: abs(u / rate_hz - 1))
    if abs(near / rate_hz - 1) < 1e-4:
        if near == rate_hz:
            return near, ()
        return near, (f"The printed time step gives {rate_hz:.3f} Hz; {near:g} Hz is taken.",)
    return rate_hz, ()


def refuse_gap(time_s: NDArray[np.float64], expected_s: float, rate_hz: float, name: str) -> None:
    """Raise `UnreadableFile` where times do not go on evenly from `expected_s`."""
    steps = np.diff(time_s, prepend=expected_s - 1 / rate_hz) * rate_hz
    bad = np.flatnonzero(~(np.abs(steps - 1) <= 0.5))
    if bad.size:
        raise UnreadableFile(
            f"{name}: time steps are not even near {time_s[bad[0]]:.4f} s.",
            remedy="Export with one sample rate; Heavyspot does not resample.",
        )
