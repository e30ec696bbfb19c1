"""Splitting a spin into passes: stretches in which the speed only rises or only falls."""

from __future__ import annotations

import itertools
from dataclasses import dataclass
from typing import Literal

import numpy as np
from numpy.typing import NDArray

from .phase import PhasedBlocks, spells

TURNING_SHARE = 0.04
"""A change of speed by this share of the highest speed starts a new pass."""


@dataclass(frozen=True)
class Pass:
    """One pass: blocks ``start .. start + speed_rpm.size``, inside a trusted `segment`."""

    direction: Literal["up", "down"]
    start: int
    speed_rpm: NDArray[np.float64]
    segment: tuple[int, int]

    @property
    def highest_rpm(self) -> float:
        """The highest speed of the pass."""
        return float(self.speed_rpm.max())


def find_passes(blocks: PhasedBlocks) -> list[Pass]:
    """Return the passes of all trusted stretches, in time order."""
    found: list[Pass] = []
    segments = [(int(a), int(b)) for a, b in spells(blocks.trusted)]
    if not segments:
        return found
    highest = max(float(blocks.speed_rpm[a:b].max()) for a, b in segments)
    for first, last in segments:
        speed = blocks.speed_rpm[first:last]
        turning = _turning_points(speed, TURNING_SHARE * highest)
        for start, stop in itertools.pairwise(turning):
            part = speed[start : stop + 1]
            up = part[-1] >= part[0]
            found.append(Pass("up" if up else "down", first + start, part, (first, last)))
    return found


def _turning_points(speed: NDArray[np.float64], threshold: float) -> list[int]:
    """Return indices, ends included, between which the speed goes one way (within `threshold`)."""
    points = [0]
    high = low = 0
    heading = 0
    thin = max(1, round(speed.size / 4000))
    for i in [*range(0, speed.size, thin), speed.size - 1]:
        v = speed[i]
        if v > speed[high]:
            high = i
        if v < speed[low]:
            low = i
        if heading >= 0 and speed[high] - v > threshold:
            if heading > 0 or high > points[-1]:
                points.append(high)
            heading, low = -1, i
            high = i
        elif heading <= 0 and v - speed[low] > threshold:
            if heading < 0 or low > points[-1]:
                points.append(low)
            heading, high = 1, i
            low = i
    if points[-1] != speed.size - 1:
        points.append(speed.size - 1)
    return points if len(points) > 1 else [0, speed.size - 1]
