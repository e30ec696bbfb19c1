"""The standard uncertainty of a curve's point: from the scatter about its fit, the pickup, the resolution.

Blocks are weighted sums of samples (a quadratic B-spline over three blocks), so neighbours share noise: white
noise gives autocorrelations of 66, 26 and 1 over 120 at lags of 0, 1 and 2 blocks (the quintic B-spline at whole
numbers; C. de Boor, A Practical Guide to Splines, chapter IX).
"""

from __future__ import annotations

from functools import cache

import numpy as np
from numpy.typing import NDArray

FloatArray = NDArray[np.float64]

SHARED = (66 / 120, 26 / 120, 1 / 120)
"""Variance of a block, and covariance of blocks one and two apart, for white noise of variance 1 a block."""


PIECE = 65_536
"""Blocks worked on at a time where nothing forbids it (a cost)."""


BESIDE = 1.2
"""Degrees of freedom for each independent block of a window: the weights let more than the equal number in."""


LOST = 2.2
"""Independent values that a constant, a line and a parabola take out, under the fit's weights (computed)."""


def share_of_mean(blocks: FloatArray) -> FloatArray:
    """Return the variance of a mean taken twice over so many blocks, for white noise of variance 1 a block.

    >>> share_of_mean(np.array([1.0, 3.0])).round(2).tolist()
    [0.55, 0.22]
    """
    sizes, shares = _shares()
    return np.interp(blocks, sizes, shares)


@cache
def _shares() -> tuple[FloatArray, FloatArray]:
    sizes = np.concatenate([np.arange(1.0, 4.0, 0.1), np.geomspace(4.0, 400.0, 60)])
    shares = [SHARED[0]]
    for size in sizes[1:]:
        reach = int(size) + 2
        edge = np.clip(np.arange(-reach, reach + 2) - 0.5, -size / 2, size / 2)
        once = np.diff(edge) / size
        weights = np.convolve(once, once)
        found = (weights**2).sum() * SHARED[0]
        found += 2 * (weights[1:] * weights[:-1]).sum() * SHARED[1]
        found += 2 * (weights[2:] * weights[:-2]).sum() * SHARED[2]
        shares.append(found)
    return sizes, np.asarray(shares)


def whole_turns(
    vectors: NDArray[np.complexfloating], speed_rpm: FloatArray, block_s: float
) -> tuple[NDArray[np.complex128], FloatArray]:
    """Return block vectors averaged twice over a turn, and how many blocks a turn is.

    Within less than a turn the other orders have not averaged out; they are no noise of a point, which looks at
    fourteen turns and more. A block longer than a turn stays as it is.

    Parameters
    ----------
    vectors : ndarray, shape (..., n), complex
    speed_rpm : ndarray, shape (n,)
        NaN counts as fast.
    """
    n = vectors.shape[-1]
    i = np.arange(n)
    turn_s = 60.0 / np.maximum(np.nan_to_num(speed_rpm, nan=np.inf), 1e-6)
    size = np.maximum(turn_s / block_s, 1.0)
    size = np.where(size > 1.0, np.minimum(size, np.minimum(i, n - 1 - i) + 0.5), 1.0)
    size = np.maximum(size, 1.0)
    if (size == 1.0).all():
        return vectors.astype(np.complex128), size
    out = np.empty(vectors.shape, np.complex128)
    beside = int(size.max()) + 3  # both means look no further
    for part in pieces(n):
        start, stop = max(0, part.start - beside), min(n, part.stop + beside)
        mine = size[start:stop]
        mean = _mean_over(_mean_over(vectors[..., start:stop], mine), mine)
        out[..., part] = mean[..., part.start - start : part.stop - start]
    return out, size


def _mean_over(vectors: NDArray[np.complexfloating], size: FloatArray) -> NDArray[np.complex128]:
    """Return the mean over `size` blocks about each, a share of the outermost included; 1 leaves it as it is."""
    n = vectors.shape[-1]
    total = np.empty((*vectors.shape[:-1], n + 1), np.complex128)
    total[..., 0] = 0.0
    np.cumsum(vectors, axis=-1, out=total[..., 1:])

    def until(place: FloatArray) -> NDArray[np.complex128]:
        k = np.clip(place.astype(int), 0, n - 1)
        return np.asarray(total[..., k] + (place - k) * (total[..., k + 1] - total[..., k]))

    middle = np.arange(n) + 0.5
    mean = (until(middle + size / 2) - until(middle - size / 2)) / size
    return np.where(size > 1.0, mean, vectors)


def pieces(n: int) -> list[slice]:
    """Return the parts of `n` blocks that are worked on at a time: what half an hour needs stays small."""
    return [slice(start, min(start + PIECE, n)) for start in range(0, n, PIECE)]


def component_variance(
    scatter: FloatArray, weight: FloatArray, gain: FloatArray, share: FloatArray
) -> FloatArray:
    """Return the variance of a point's amplitude, from the scatter along it about its fit.

    What the fit takes out of the scatter is put back. It is an estimate from few independent blocks; the standard
    uncertainty is then that of a scaled t distribution: the variance is ``nu / (nu - 2)`` times as large (JCGM
    101:2008, 6.4.9.4).

    Parameters
    ----------
    scatter : ndarray, shape (channels, points)
        Weighted mean square of the residuals' part along the point's vector, about a parabola over the window.
    weight : ndarray, shape (points, width)
        Of each block in the fit.
    gain : ndarray, shape (points,)
        Sum of the squares of the kernel that makes the point's value.
    share : ndarray, shape (points,)
        Variance of one of these values for white noise of variance 1 a block (`share_of_mean`).
    """
    total, squares = weight.sum(axis=1), np.maximum((weight**2).sum(axis=1), 1e-30)
    alone = np.maximum(share * total**2 / squares, 3.0)  # independent values in the window
    degrees = np.maximum(BESIDE * alone, 2.5)
    widened = degrees / (degrees - 2.0)
    return np.asarray(scatter / share * gain / (1.0 - LOST / alone) * widened)


def resolution_variance(
    amplitude: FloatArray, broad_rms: FloatArray, step: FloatArray
) -> FloatArray:
    """Return the variance of a component that the converter's steps add, which no scatter shows.

    The fundamental of a sine rounded to steps is off by ``step (2/pi) J1(2 pi A / step)`` and the like terms
    (Widrow and Kollár, Quantization Noise, 2008, on the quantizing of a sine), of the order of
    ``step / pi² · sqrt(step / A)``; below half a step it is lost. Noise of other origin dithers it away with
    ``exp(-2 pi² (sigma / step)²)``.

    Parameters
    ----------
    amplitude, broad_rms : ndarray, shape (channels, points)
        Once per turn, and rms of everything that is no order of the turning.
    step : ndarray, shape (channels,)
        Smallest difference of two samples, in the same unit; 0 where it is not known.
    """
    q = step[:, None]
    dither = np.sqrt(np.maximum(broad_rms**2 - q**2 / 12.0, 0.0))
    with np.errstate(divide="ignore", invalid="ignore"):
        fades = np.where(
            q > 0, np.exp(-2 * np.pi**2 * (dither / np.where(q > 0, q, 1.0)) ** 2), 0.0
        )
        far = q / np.pi**2 * np.sqrt(q / np.maximum(amplitude, 1e-30))
    worst = np.where(amplitude > 0.5 * q, np.minimum(far, q / np.sqrt(12.0)), q / np.sqrt(12.0))
    return np.asarray((worst * fades) ** 2)
