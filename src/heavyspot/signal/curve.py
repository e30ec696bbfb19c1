"""From the tracker's blocks to curves: vectors against speed, one curve for each pass.

Each point is a local quadratic fit in time over a window round the moment the speed was reached
(weights ``(1 - x²)²``), evaluated at that moment. A quadratic follows the rise of a resonance
without the bias of a plain mean; the fit's own residuals give the noise of the point. Local
regression: Cleveland and Devlin, J. Am. Stat. Assoc. 83 (1988) 596.
"""

from __future__ import annotations

from dataclasses import dataclass, replace
from typing import Literal

import numpy as np
from numpy.typing import NDArray

from ..quantities.angles import angle_of
from ..quantities.arrays import Array
from ..quantities.content import ByContent
from .mark.turns import SMOOTH_S
from .passes import Pass, find_passes
from .phase import PhasedBlocks, phased_blocks, running_mean
from .point_noise import (
    component_variance,
    resolution_variance,
    share_of_mean,
    whole_turns,
)
from .tracker import Track

TURNS_PER_POINT = 14.0
SHORTEST_WINDOW_S = 0.045
_BATCH_BLOCKS = 400


@dataclass(frozen=True, eq=False)
class Curve(ByContent):
    """One pass through the speeds, up or down.

    Attributes
    ----------
    direction : "up" or "down"
    speed_rpm : ndarray, shape (n,), ascending
        Multiples of one step, so that runs can be compared point by point.
    time_s : ndarray, shape (n,)
        When each speed was reached; nan where the rig gave a table.
    vector : ndarray, shape (channels, n), complex128
        Once-per-turn vector, zero-to-peak, in the channel's unit; its angle is on the rotor.
    noise : ndarray, shape (channels, n)
        Standard uncertainty of the amplitude from the scatter in the window; across the vector it is as large.
    angle_noise : ndarray, shape (channels, n)
        Standard uncertainty of the angle from the pickup, rad, beside that from `noise`; infinite without angles.
    overall_rms : ndarray, shape (channels, n)
        Rms of the whole band, without the steady part.
    twice, thrice, half : ndarray, shape (channels, n)
        Zero-to-peak amplitude at 2, 3 and 1/2 times the turning frequency.
    """

    direction: Literal["up", "down"]
    speed_rpm: NDArray[np.float64]
    time_s: NDArray[np.float64]
    vector: NDArray[np.complex128]
    noise: NDArray[np.float64]
    overall_rms: NDArray[np.float64]
    twice: NDArray[np.float64]
    thrice: NDArray[np.float64]
    half: NDArray[np.float64]
    angle_noise: NDArray[np.float64]

    @property
    def is_table(self) -> bool:
        """Whether it came as a table: nobody knows when each speed was reached."""
        return self.time_s.size > 0 and not bool(np.isfinite(self.time_s).any())

    @property
    def amplitude(self) -> NDArray[np.float64]:
        """Once-per-turn amplitude, zero-to-peak, shape (channels, n), in the channel's unit."""
        return np.abs(self.vector)

    @property
    def has_angle(self) -> bool:
        """Whether its angles are known; without them `vector` is the amplitude alone."""
        return bool(np.isfinite(self.angle_noise).all())

    def angle_deg(self, i: int = 0) -> NDArray[np.float64]:
        """Return a channel's angles, degrees in [0, 360); nan where they are not known."""
        return angle_of(self.vector[i]) if self.has_angle else np.full(self.speed_rpm.size, np.nan)

    def of_channel(self, i: int) -> Curve:
        """Return the curve of one channel alone."""
        names = ("vector", "noise", "overall_rms", "twice", "thrice", "half", "angle_noise")
        return replace(self, **{n: getattr(self, n)[i : i + 1] for n in names})


@dataclass(frozen=True)
class Reading:
    """All curves of a recording and what the phase reference was like.

    Attributes
    ----------
    curves : tuple of Curve
        The longest pass first; empty when the reference could not be followed anywhere.
    blocks : PhasedBlocks
        The blocks behind them.
    """

    curves: tuple[Curve, ...]
    blocks: PhasedBlocks

    def of_channel(self, i: int) -> Reading:
        """Return the reading with the curves of one channel alone."""
        return replace(self, curves=tuple(c.of_channel(i) for c in self.curves))


def speed_step_rpm(highest_rpm: float) -> float:
    """Return the step of the speed axis: about 300 to 400 points up to the highest speed."""
    for step in (5, 10, 20, 25, 50, 100, 200, 250, 500, 1000):
        if highest_rpm / step <= 400:
            return float(step)
    return 1000.0


def read_curves(
    track: Track,
    *,
    scale: NDArray[np.float64] | None = None,
    step: NDArray[np.float64] | None = None,
    spend: bool = False,
) -> Reading:
    """Return the curves of a track.

    Parameters
    ----------
    track : Track
    scale : ndarray, shape (channels,), optional
        Factor from a channel's samples to its physical unit (g for acceleration).
    step : ndarray, shape (channels,), optional
        Smallest difference of two samples, in that unit; 0, or left out, where it is not known.
    spend : bool
        The track's vectors are not needed after this.
    """
    blocks = phased_blocks(track, scale=scale, spend=spend)
    passes = find_passes(blocks)
    if not passes:
        return Reading((), blocks)
    resolution = np.zeros(blocks.vectors.shape[0]) if step is None else np.asarray(step, float)
    speed_step = speed_step_rpm(max(p.highest_rpm for p in passes))
    curves = [_curve_of(p, blocks, speed_step, resolution) for p in passes]
    full = [c for c in curves if c.speed_rpm.size >= 2 or len(curves) == 1]
    full.sort(key=lambda c: (-c.speed_rpm.size, c.time_s[0] if c.time_s.size else 0))
    return Reading(tuple(c for c in full if c.speed_rpm.size), blocks)


def _curve_of(
    span: Pass, blocks: PhasedBlocks, step: float, resolution: NDArray[np.float64]
) -> Curve:
    speed = _steadied(span.speed_rpm, blocks.block_s)
    plain = speed if span.direction == "up" else speed[::-1]
    rising = np.maximum.accumulate(plain)
    first = np.ceil(rising[0] / step - 1e-9)
    last = np.floor(rising[-1] / step + 1e-9)
    if last < first:  # a steady speed between two grid points
        first = last = np.rint(rising[rising.size // 2] / step)
    grid = np.arange(first, last + 1) * step
    lo = np.searchsorted(rising, grid - step / 2)
    hi = np.searchsorted(rising, grid + step / 2)
    at = np.searchsorted(rising, grid)
    before = np.clip(at - 1, 0, rising.size - 1)
    after = np.clip(at, 0, rising.size - 1)
    rise = rising[after] - rising[before]
    part = np.where(rise > 0, (grid - rising[before]) / np.where(rise > 0, rise, 1.0), 0.0)
    centre = before + part * (after - before)
    needed = _look_s(grid) / blocks.block_s
    # use all there is of a speed that was held; one that dipped meanwhile was not
    dwell = ((hi - lo) > needed) & (_lowest_between(plain, lo, hi) > grid - step)
    centre = np.where(dwell, 0.5 * (lo + hi - 1), centre)
    width = np.where(dwell, hi - lo, needed)
    if span.direction == "down":
        centre = rising.size - 1 - centre
    centre = centre + span.start
    steady = _steady(blocks, span.segment)
    fits = _local_fits(blocks, steady, centre, 0.5 * width, span.segment)
    values, variance, powers, gain, angle_rad2 = fits
    amplitude = np.abs(values[:, :, 1])
    orders = 0.5 * (np.abs(values) ** 2).sum(axis=2)
    broad = np.sqrt(np.maximum(powers - orders, 0.0))
    variance += resolution_variance(amplitude, broad, resolution)
    moved = _axis_error(grid, values[:, :, 1], angle_rad2, blocks.block_s)
    across = moved.imag / np.maximum(amplitude, 1e-30)
    edge = 2 * np.pi * grid / 60 * blocks.edge_s
    return Curve(
        direction=span.direction,
        speed_rpm=grid,
        time_s=(centre + 0.5) * blocks.block_s,
        vector=values[:, :, 1],
        noise=np.sqrt(variance + moved.real**2),
        overall_rms=np.sqrt(np.maximum(powers, 0.0)),
        twice=np.abs(values[:, :, 2]),
        thrice=np.abs(values[:, :, 3]),
        half=np.abs(values[:, :, 0]),
        angle_noise=np.sqrt(angle_rad2 * gain + across**2 + edge**2),
    )


def _look_s(speed_rpm: NDArray[np.float64]) -> NDArray[np.float64]:
    """Return how long a point at each speed looks, s."""
    return np.maximum(SHORTEST_WINDOW_S, TURNS_PER_POINT * 60.0 / np.maximum(speed_rpm, 1.0))


def _steadied(speed_rpm: NDArray[np.float64], block_s: float) -> NDArray[np.float64]:
    """Return the speed over half the time a point looks at: noise of single marks would shift the axis."""
    i = np.arange(speed_rpm.size)
    reach = np.minimum((0.25 * _look_s(speed_rpm) / block_s).astype(int), np.minimum(i, i[::-1]))
    return running_mean(speed_rpm, reach)


def _axis_error(
    grid: NDArray[np.float64],
    vector: NDArray[np.complex128],
    angle_rad2: NDArray[np.float64],
    block_s: float,
) -> NDArray[np.complex128]:
    """Return what one standard uncertainty of the speed moves each point: along its vector, and across (imaginary).

    The speed is the turning between two ends over the time between them, half a point's window; each end is worth
    a turn, or the smoothing of the marks.
    """
    if grid.size < 3:
        return np.zeros(vector.shape, np.complex128)
    turn_s = 60.0 / np.maximum(grid, 1.0)
    apart_s = 0.5 * _look_s(grid)
    end = angle_rad2 * block_s / np.maximum(2.0 * SMOOTH_S, turn_s)
    speed_rpm = 60.0 * np.sqrt(2.0 * end) / (2 * np.pi) / apart_s
    unit = vector / np.maximum(np.abs(vector), 1e-30)
    return np.asarray(np.gradient(vector, grid, axis=1) * np.conj(unit) * speed_rpm)


def _lowest_between(
    values: NDArray[np.float64], low: NDArray[np.intp], high: NDArray[np.intp]
) -> NDArray[np.float64]:
    """Return the lowest of ``values[low:high]`` for each pair; of the one at `low` where there is none between."""
    ends = np.stack([low, np.maximum(high, low)], axis=1).reshape(-1)
    return np.minimum.reduceat(np.append(values, np.inf), ends)[::2]


@dataclass(frozen=True)
class _Steady:
    """Vectors from which the scatter is taken, and the variance of one for white noise of 1 a block."""

    vectors: Array
    share: NDArray[np.float64]


def _steady(blocks: PhasedBlocks, segment: tuple[int, int]) -> _Steady:
    mine = slice(*segment)
    vectors: Array = np.zeros(blocks.vectors.shape[:2], np.complex128)
    share = np.ones(vectors.shape[1])
    found, size = whole_turns(blocks.vectors[:, mine, 1], blocks.speed_rpm[mine], blocks.block_s)
    vectors[:, mine], share[mine] = found, share_of_mean(size)
    return _Steady(vectors, share)


_Real = NDArray[np.float64]
_Fits = tuple[NDArray[np.complex128], _Real, _Real, _Real, _Real]
"""Values (channels, n, orders), variances and powers (channels, n), gain, variance of a block's angle (n,)."""


def _local_fits(
    blocks: PhasedBlocks,
    steady: _Steady,
    centre: NDArray[np.float64],
    half_width: NDArray[np.float64],
    segment: tuple[int, int],
) -> _Fits:
    """Fit at each centre."""
    n_channels, _, n_orders = blocks.vectors.shape
    n = centre.size
    values = np.empty((n_channels, n, n_orders), np.complex128)
    variance = np.empty((n_channels, n))
    powers = np.empty((n_channels, n))
    gain, angle = np.empty(n), np.empty(n)
    order = np.argsort(half_width, kind="stable")
    i = 0
    while i < n:  # points of like width together; long dwells end up alone
        widest = half_width[order[i]] * 1.25 + 4
        j = i + 1
        while j < n and j - i < _BATCH_BLOCKS and half_width[order[j]] <= widest:
            j += 1
        k = order[i:j]
        values[:, k], variance[:, k], powers[:, k], gain[k], angle[k] = _fit_batch(
            blocks, steady, centre[k], half_width[k], segment
        )
        i = j
    return values, variance, powers, gain, angle


def _fit_batch(
    blocks: PhasedBlocks,
    steady: _Steady,
    centre: NDArray[np.float64],
    half_width: NDArray[np.float64],
    segment: tuple[int, int],
) -> _Fits:
    reach = int(np.ceil(half_width.max())) + 1
    offsets = np.arange(-reach, reach + 1)
    index = np.rint(centre).astype(int)[:, None] + offsets
    x = (index - centre[:, None]) / np.maximum(half_width, 1.0)[:, None]
    weight = np.where(np.abs(x) < 1, (1 - x * x) ** 2, 0.0)
    weight[(index < segment[0]) | (index >= segment[1])] = 0.0
    index = np.clip(index, segment[0], segment[1] - 1)
    kernel = _quadratic_kernel(x, weight)  # (points, width)
    z = blocks.vectors[:, index]  # (channels, points, width, orders)
    values = np.einsum("pw,cpwo->cpo", kernel, z)
    total = np.maximum(weight.sum(axis=1), 1e-30)
    share = weight / total[:, None]
    # the scatter about a parabola: not about the point itself, whose own error would come in again
    residual = steady.vectors[:, index] - values[:, :, None, 1]
    residual -= np.einsum("pw,cpw->cp", share, residual)[..., None]
    for shape in _straight_and_bent(x, share):
        part = np.einsum("pw,cpw->cp", share * shape, residual)
        residual -= part[..., None] * shape
    first = values[:, :, 1]
    unit = first / np.maximum(np.abs(first), 1e-30)
    # along the vector: what lies across it comes from the pickup too, and is counted there
    along = (residual * np.conj(unit)[:, :, None]).real
    scatter = np.einsum("pw,cpw->cp", weight, along**2) / total
    gain = (kernel**2).sum(axis=1)
    middle = np.clip(np.rint(centre).astype(int), segment[0], segment[1] - 1)
    variance = component_variance(scatter, weight, gain, steady.share[middle])
    angle = np.einsum("pw,pw->p", weight, blocks.angle_rad2[index]) / total
    mean = np.einsum("pw,cpw->cp", share, blocks.mean[:, index])
    power = np.einsum("pw,cpw->cp", share, blocks.power[:, index]) - mean**2
    return values, variance, power, gain, angle


def _straight_and_bent(
    x: NDArray[np.float64], share: NDArray[np.float64]
) -> list[NDArray[np.float64]]:
    """Return a line and a parabola over each window, orthonormal to a constant and to each other by the weights."""
    shapes: list[NDArray[np.float64]] = [np.ones_like(x)]
    for raw in (x, x * x):
        for shape in shapes:
            raw = raw - (share * raw * shape).sum(axis=1)[:, None] * shape
        size = np.sqrt((share * raw**2).sum(axis=1))
        shapes.append(raw / np.maximum(size, 1e-12)[:, None])
    return shapes[1:]


def _quadratic_kernel(x: NDArray[np.float64], weight: NDArray[np.float64]) -> NDArray[np.float64]:
    """Return the weights (points, width) whose sum with data is the local fit's value at x = 0."""
    powers = np.stack([np.ones_like(x), x, x * x], axis=-1)
    weighted = weight[..., None] * powers
    moments = np.einsum("pwi,pwj->pij", weighted, powers)
    few = (weight > 0).sum(axis=1) < 5
    moments[few] = np.diag([1.0, 1.0, 1.0])
    moments += 1e-9 * np.eye(3) * moments[:, :1, :1]
    solved = np.linalg.solve(moments, np.tile([[1.0], [0.0], [0.0]], (x.shape[0], 1, 1)))[..., 0]
    kernel = np.einsum("pwi,pi->pw", weighted, solved)
    plain = weight / np.maximum(weight.sum(axis=1, keepdims=True), 1e-30)
    return np.where(few[:, None], plain, kernel)
