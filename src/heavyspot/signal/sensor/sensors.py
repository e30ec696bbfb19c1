"""Findings about the vibration channels from the samples alone: dead, swapped, clipped."""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from ...quantities.finding import Finding
from ..tracker import GROUP_BLOCKS, Track
from .cells import Cells
from .clipping import clipping_findings
from .liveness import liveness_findings, pickup_findings


def sensor_findings(
    track: Track,
    cells: Cells,
    *,
    full_scale: list[float | None],
    unit_in_g: list[float],
    names: list[str],
) -> list[Finding]:
    """Return what is wrong with the vibration channels.

    Parameters
    ----------
    cells : Cells
        Of the same run, in g.
    full_scale : list of float or None
        Largest sample value of each vibration channel, in its samples' unit.
    unit_in_g : list of float
        Factor from samples to g.
    names : list of str
    """
    swapped = pickup_findings(cells, names, _swings(track))
    if swapped:
        return swapped
    silent = liveness_findings(cells, names)
    extremes = track.extremes.astype(float)
    extremes[:, :, :2] *= np.asarray(unit_in_g)[:, None, None]
    full_g = [None if f is None else f * u for f, u in zip(full_scale, unit_in_g, strict=True)]
    return [*silent, *clipping_findings(cells, extremes, names=names, full_scale_g=full_g)]


def _swings(track: Track) -> NDArray[np.float64]:
    """Return each group's swing, and how far it is one of two levels; (channels, groups, 2)."""
    channels, n = track.extremes.shape[:2]
    mean = track.mean[:, : n * GROUP_BLOCKS].astype(float).reshape(channels, n, -1).mean(axis=2)
    power = track.power[:, : n * GROUP_BLOCKS].astype(float).reshape(channels, n, -1).mean(axis=2)
    high, low = track.extremes[:, :, 0].astype(float), track.extremes[:, :, 1].astype(float)
    room = np.maximum((high - mean) * (mean - low), 1e-30)
    return np.stack([high - low, np.maximum(power - mean**2, 0.0) / room], axis=2)
