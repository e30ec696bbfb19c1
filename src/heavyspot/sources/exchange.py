"""Exchange with programs of structural dynamics: signals shaped as SEP 005 of the SDyPy family has them.

A signal is a dict with ``name``, ``data`` (one-dimensional), ``unit_str`` and ``fs`` in hertz (or
``time`` in seconds); ``quantity``, ``start_timestamp`` and ``group`` where known.
"""

from __future__ import annotations

from collections.abc import Sequence
from typing import NotRequired, Required, TypedDict

import numpy as np
from numpy.typing import NDArray

from ..quantities.angles import Rotation
from ..quantities.errors import UnreadableFile
from .formats.time_base import even_rate
from .readers import guessed_channel
from .recording import Channel, Recording, from_array

_QUANTITIES = {"force": "f", "acceleration": "a", "velocity": "v"}


class Signal(TypedDict, total=False):
    """One channel, as SEP 005 shapes it."""

    name: Required[str]
    data: Required[NDArray[np.float64]]
    unit_str: Required[str]
    fs: float
    time: NDArray[np.float64]
    quantity: NotRequired[str]
    start_timestamp: NotRequired[str]
    group: NotRequired[str]


def to_signals(recording: Recording) -> list[Signal]:
    """Return a recording as SEP 005 signals, in physical units.

    Parameters
    ----------
    recording : Recording

    Returns
    -------
    list of dict
        A channel each; ``data`` in ``unit_str``, sensitivity taken in, ``fs`` exactly as recorded.

    Raises
    ------
    UnreadableFile
        As `Recording.blocks`.
    """
    data = np.concatenate([b.data for b in recording.blocks()]).astype(np.float64)
    return [_signal(recording, c, data[:, i]) for i, c in enumerate(recording.channels)]


def _signal(recording: Recording, channel: Channel, data: NDArray[np.float64]) -> Signal:
    factor, unit = channel.per_stored
    out = Signal(name=channel.name, data=data * factor, unit_str=unit, fs=recording.sample_rate_hz)
    if channel.quantity in _QUANTITIES:
        out["quantity"] = _QUANTITIES[channel.quantity]
    if recording.recorded_at:
        out["start_timestamp"] = recording.recorded_at
    if recording.rig:
        out["group"] = recording.rig
    return out


def from_signals(signals: Sequence[Signal], *, rotation: Rotation | None = None) -> Recording:
    """Return SEP 005 signals as one recording.

    Parameters
    ----------
    signals : sequence of dict
        Of one length and rate; the once-per-turn channel is known by its name, as in a CSV.
    rotation : str, optional
        ``clockwise`` or ``counterclockwise`` seen from the nut.

    Raises
    ------
    UnreadableFile
        There is none, they differ in length or rate, or one states neither ``fs`` nor ``time``.
    """
    sizes = {len(s["data"]) for s in signals}
    rates = {_rate(s) for s in signals}
    if len(sizes) != 1 or len(rates) != 1:
        raise UnreadableFile(
            f"{len(signals)} signals of {len(sizes)} lengths and {len(rates)} sample rates are no recording.",
            remedy="Give channels that were sampled together.",
        )
    data = np.stack([np.asarray(s["data"], np.float32) for s in signals], axis=1)
    begun = {str(s.get("start_timestamp") or "") for s in signals}
    return from_array(
        data,
        channels=tuple(guessed_channel(s["name"], s["unit_str"]) for s in signals),
        sample_rate_hz=rates.pop(),
        rotation=rotation,
        recorded_at=begun.pop() if len(begun) == 1 else "",
    )


def _rate(signal: Signal) -> float:
    if signal.get("fs"):
        return float(signal["fs"])
    if "time" in signal:
        return even_rate(np.asarray(signal["time"], np.float64), signal["name"])
    raise UnreadableFile(
        f'The signal "{signal["name"]}" states neither fs nor time.', remedy="Give fs in hertz."
    )
