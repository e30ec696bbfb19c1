"""A flow reading from a live source: its channels averaged over some seconds, with how steady they were."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass

import numpy as np

from ...quantities.checks import positive
from ...quantities.errors import BadInput, SourceLost
from ...sources.live import LiveSource
from .testing import NUMBERS


@dataclass(frozen=True)
class LiveReading:
    """What was read.

    Attributes
    ----------
    values : dict
        By the keys of a reading; means, in the channels' units.
    spread : dict
        Standard deviations over the time.
    seconds : float
    """

    values: dict[str, float]
    spread: dict[str, float]
    seconds: float


def read_live(
    source: LiveSource, seconds: float = 5.0, zero: Mapping[str, float] | None = None
) -> LiveReading:
    """Read a bench's channels for some seconds.

    Parameters
    ----------
    source : LiveSource
        Channels that are named like the keys of a reading (``drop_kpa``, ``upstream_kpa``, ``temperature_c`` ...)
        count, in their unit times full scale; others are left out.
    zero : mapping, optional
        What a channel reads at rest; it is taken off.

    Raises
    ------
    BadInput
        No channel has such a name.
    SourceLost
        The device is not there, or delivers nothing.
    """
    described = source.describe()
    wanted = {c.name: i for i, c in enumerate(described.channels) if c.name in NUMBERS}
    if not wanted:
        raise BadInput(
            "No channel is named like a reading.",
            remedy="Name them " + ", ".join(NUMBERS[:4]) + " ...",
        )
    enough = positive("seconds", seconds) * described.sample_rate_hz
    parts, got = [], 0
    source.open()
    try:
        for block in source.blocks():
            parts.append(block.data)
            got += block.data.shape[0]
            if got >= enough:
                break
    finally:
        source.close()
    if not got:
        raise SourceLost("The bench delivers nothing.", remedy="Check the interface and its cable.")
    data = np.concatenate(parts).astype(float)
    values, spread = {}, {}
    for name, i in wanted.items():
        scaled = data[:, i] * described.channels[i].full_scale
        values[name] = float(scaled.mean()) - (zero or {}).get(name, 0.0)
        spread[name] = float(scaled.std())
    return LiveReading(values, spread, got / described.sample_rate_hz)
