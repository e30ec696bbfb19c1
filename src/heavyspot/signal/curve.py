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

from .passes import Pass, find_passes
from .phase import PhasedBlocks, phased_blocks
from .tracker import Track

TURNS_PER_POINT = 14.0
SHORTEST_WINDOW_S = 0.045
_BATCH_BLOCKS = 400
_SPLINE_POWER = 0.55
"""Integral of the squared quadratic spline: overlapping blocks share noise, so that their scatter
is this share of what independent blocks would show."""


@dataclass(frozen=True)
class Curve:
    """One pass through the speeds, up or down.

    Attributes
    ----------
    direction : "up" or "down"
    speed_rpm : ndarray, shape (n,), ascending
        Multiples of one step, so that runs can be compared point by point.
    time_s : ndarray, shape (n,)
        When each speed was reached.
    vector : ndarray, shape (channels, n), complex128
        Once-per-turn vector, zero-to-peak, in the channel's unit; its angle is on the rotor.
    noise : ndarray, shape (channels, n)
        Standard uncertainty of each component (real, imaginary) from the scatter in the window.
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

    def of_channel(self, i: int) -> Curve:
        """Return the curve of one channel alone."""
        names = ("vector", "noise", "overall_rms", "twice", "thrice", "half")
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


def read_curves(track: Track, *, scale: NDArray[np.float64] | None = None) -> Reading:
    """Return the curves of a track.

    Parameters
    ----------
    track : Track
    scale : ndarray, shape (channels,), optional
        Factor from a channel's samples to its physical unit (g for acceleration).
    """
    blocks = phased_blocks(track, scale=scale)
    passes = find_passes(blocks)
    if not passes:
        return Reading((), blocks)
    step = speed_step_rpm(max(p.highest_rpm for p in passes))
    curves = [_curve_of(p, blocks, step) for p in passes]
    full = [c for c in curves if c.speed_rpm.size >= 2 or len(curves) == 1]
    full.sort(key=lambda c: (-c.speed_rpm.size, c.time_s[0] if c.time_s.size else 0))
    return Reading(tuple(c for c in full if c.speed_rpm.size), blocks)


def _curve_of(span: Pass, blocks: PhasedBlocks, step: float) -> Curve:
    speed = span.speed_rpm
    rising = speed if span.direction == "up" else speed[::-1]
    rising = np.maximum.accumulate(rising)
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
    needed = np.maximum(SHORTEST_WINDOW_S, TURNS_PER_POINT * 60.0 / np.maximum(grid, 1.0))
    needed = needed / blocks.block_s
    width = np.maximum(hi - lo, needed)
    dwell = (hi - lo) > needed  # use all there is of a speed that was held
    centre = np.where(dwell, 0.5 * (lo + hi - 1), centre)
    if span.direction == "down":
        centre = rising.size - 1 - centre
    centre = centre + span.start
    values, noise, powers = _local_fits(blocks, centre, 0.5 * width, span.segment)
    return Curve(
        direction=span.direction,
        speed_rpm=grid,
        time_s=(centre + 0.5) * blocks.block_s,
        vector=values[:, :, 1],
        noise=noise,
        overall_rms=np.sqrt(np.maximum(powers, 0.0)),
        twice=np.abs(values[:, :, 2]),
        thrice=np.abs(values[:, :, 3]),
        half=np.abs(values[:, :, 0]),
    )


def _local_fits(
    blocks: PhasedBlocks,
    centre: NDArray[np.float64],
    half_width: NDArray[np.float64],
    segment: tuple[int, int],
) -> tuple[NDArray[np.complex128], NDArray[np.float64], NDArray[np.float64]]:
    """Fit at each centre; returns (channels, n, orders), (channels, n), (channels, n)."""
    n_channels, _, n_orders = blocks.vectors.shape
    n = centre.size
    values = np.empty((n_channels, n, n_orders), np.complex128)
    noise = np.empty((n_channels, n))
    powers = np.empty((n_channels, n))
    order = np.argsort(half_width, kind="stable")
    i = 0
    while i < n:  # points of like width together; long dwells end up alone
        widest = half_width[order[i]] * 1.25 + 4
        j = i + 1
        while j < n and j - i < _BATCH_BLOCKS and half_width[order[j]] <= widest:
            j += 1
        chosen = order[i:j]
        values[:, chosen], noise[:, chosen], powers[:, chosen] = _fit_batch(
            blocks, centre[chosen], half_width[chosen], segment
        )
        i = j
    return values, noise, powers


def _fit_batch(
    blocks: PhasedBlocks,
    centre: NDArray[np.float64],
    half_width: NDArray[np.float64],
    segment: tuple[int, int],
) -> tuple[NDArray[np.complex128], NDArray[np.float64], NDArray[np.float64]]:
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
    first = z[..., 1]
    residual = first - values[:, :, None, 1]
    # the scatter about the fit, with the slope over the window taken out
    slope_w = weight * x
    slope = np.einsum("pw,cpw->cp", slope_w, residual) / np.maximum(
        (slope_w * x).sum(axis=1), 1e-30
    )
    residual = residual - slope[..., None] * x
    total = np.maximum(weight.sum(axis=1), 1e-30)
    scatter = np.einsum("pw,cpw->cp", weight, np.abs(residual) ** 2) / total
    jitter = np.einsum("pw,pw->p", weight, blocks.jitter_rad2[index]) / total
    scatter = scatter + np.abs(values[:, :, 1]) ** 2 * jitter
    spread = np.sqrt(0.5 / _SPLINE_POWER * scatter * (kernel**2).sum(axis=1))
    share = weight / total[:, None]
    mean = np.einsum("pw,cpw->cp", share, blocks.mean[:, index])
    power = np.einsum("pw,cpw->cp", share, blocks.power[:, index]) - mean**2
    return values, spread, power


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
