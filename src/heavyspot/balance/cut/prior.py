"""What is believed of a plane's response before this piece's own cuts: from other units, or nothing."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace
from functools import lru_cache

import numpy as np
from numpy.typing import NDArray
from scipy.linalg import block_diag

ComplexArray = NDArray[np.complex128]
FloatArray = NDArray[np.float64]
Sensor = NDArray[np.intp]


@dataclass(frozen=True)
class ResponsePrior:
    """What is believed of a plane's response before this piece's own cuts.

    Attributes
    ----------
    mean : ndarray, shape (n,), complex
        g per g·mm at each speed.
    factor : ndarray, shape (n, r), complex
    units : int
        Other units of the model it rests on; 0 when it knows none.
    alike : tuple of str
        Other models it leans on while the model's own units are few.
    card : int
        Units of another shop's population that it leans on; 0 when on none.
    """

    mean: ComplexArray
    factor: ComplexArray
    units: int = 0
    alike: tuple[str, ...] = ()
    card: int = 0


@dataclass(frozen=True)
class Guess:
    """What like models let expect of a plane's response: enough to place a trial cut, no more.

    Attributes
    ----------
    mean : ndarray, shape (n,), complex
        g per g·mm at each speed.
    alike : tuple of str
        The models.
    """

    mean: ComplexArray
    alike: tuple[str, ...]


def wide_prior(
    speed_rpm: FloatArray, typical: FloatArray, sensor: Sensor | None = None
) -> ResponsePrior:
    """Return a prior that says only smoothness and a largest size: any angle, up to many times.

    Parameters
    ----------
    typical : ndarray, shape (n,)
        A guess of the response's size, g per g·mm.
    sensor : ndarray, shape (n,), int, optional
        Of each point; one sensor says nothing of what another feels.
    """
    # six times the guess: a prior near the true size would, over its many directions, pull the
    # estimate of how large this response is, and with it the state, by some per cent
    factor = smooth_factor(speed_rpm, 6.0 * typical, length=0.05, least=1e-6, sensor=sensor)
    return ResponsePrior(np.zeros(speed_rpm.size, complex), factor, 0)


def joined(priors: Sequence[ResponsePrior]) -> ResponsePrior:
    """Return the prior of sensors of which each is known on its own, one after the other."""
    mean = np.concatenate([p.mean for p in priors])
    factor = block_diag(*(p.factor for p in priors))
    return replace(priors[0], mean=mean, factor=factor)


def library_prior(
    responses: ComplexArray,
    *,
    weights: FloatArray | None = None,
    cut_error: tuple[float, float] = (0.0, 0.0),
    sensor: Sensor | None = None,
) -> ResponsePrior:
    """Return the prior from other units' responses: their mean, and their spread about it.

    Few units are shrunk towards a usual spread (25 % in size and the same in angle, common to all
    speeds, and half of that tilting over speed); far-off units count less.

    Parameters
    ----------
    responses : ndarray, shape (units, n), complex
    weights : ndarray, shape (units,), optional
    cut_error : (float, float)
        By how much each response is off as a whole, share and radians, because the cut it was learnt
        from was not quite the cut recorded. It is no spread between units, and is taken out of it.
    sensor : ndarray, shape (n,), int, optional
        Of each point.
    """
    H = np.atleast_2d(responses)
    w = np.ones(H.shape[0]) if weights is None else np.asarray(weights, float).copy()
    size = np.sqrt((np.abs(H) ** 2).mean(axis=1)).mean()
    for _ in range(5):  # a typed-in error is an outlier: weight falls beyond three times the usual
        mean = (w[:, None] * H).sum(axis=0) / w.sum()
        if H.shape[0] < 4:
            break
        off = np.sqrt((np.abs(H - mean) ** 2).mean(axis=1))
        usual = max(float(np.median(off)), 0.02 * size)
        base = np.ones(H.shape[0]) if weights is None else np.asarray(weights, float)
        w = base * np.minimum(1.0, 3.0 * usual / np.maximum(off, 1e-12)) ** 2
    n_eff = float(w.sum() ** 2 / (w**2).sum())
    sensor = np.zeros(H.shape[1], np.intp) if sensor is None else sensor
    tilt = 2.0 * along(sensor) - 1.0
    usual_spread = np.stack([0.25 * mean, 0.125 * tilt * mean], axis=1)
    own = _without_cut_error(H - mean, mean, w, cut_error) * np.sqrt(w / w.sum())[:, None]
    pull = 1.0  # the usual spread counts as one unit
    _, values, rows = np.linalg.svd(own, full_matrices=False)
    rank = int(min(6, (values > 1e-3 * max(float(values[0]), 1e-300)).sum()))
    learnt = rows[:rank].T * values[:rank]
    blend = n_eff + pull
    # shapes that the other units have not shown: as many as a unit has that was left out
    seen = _left_out_spread(H - mean, mean, tilt)
    local = max(float(np.hypot(seen, LOCAL_SPREAD / H.shape[0])), LEAST_LOCAL_SPREAD)
    factor = np.concatenate(
        [
            learnt * np.sqrt(n_eff / blend),
            usual_spread * np.sqrt(pull / blend),
            local
            * smooth_factor(
                tilt, np.abs(mean) + 0.1 * size, length=LOCAL_LENGTH, least=1e-3, sensor=sensor
            ),
        ],
        axis=1,
    ) * np.sqrt(1 + 1 / n_eff)
    return ResponsePrior(mean, factor, H.shape[0])


def _left_out_spread(off: ComplexArray, mean: ComplexArray, tilt: FloatArray) -> float:
    """Return how far units are from every mixture of the others' shapes, as a share of the mean.

    Each half of the units is fitted with the shapes of the other half; fewer than six units tell
    nothing, and the usual spread is returned.
    """
    units = off.shape[0]
    if units < 6:
        return LOCAL_SPREAD
    left = []
    for half in (slice(0, None, 2), slice(1, None, 2)):
        known = np.delete(off, np.r_[half], axis=0)
        rows = np.linalg.svd(known, full_matrices=False)[2][: min(6, known.shape[0] - 1)]
        basis = np.concatenate([[mean, tilt * mean], rows])
        q = np.linalg.qr(basis.T)[0]
        rest = off[half] - (off[half] @ q.conj()) @ q.T
        left.append((np.abs(rest) ** 2).mean(axis=1))
    # the usual unit: a wrong entry would otherwise make every other look uncertain
    return float(np.sqrt(np.median(np.concatenate(left)) / (np.abs(mean) ** 2).mean()))


def _without_cut_error(
    off: ComplexArray, mean: ComplexArray, w: FloatArray, cut_error: tuple[float, float]
) -> ComplexArray:
    """Return the units' deviations with their common size and angle shrunk by what cuts explain."""
    whole = off @ mean.conj() / max(float((np.abs(mean) ** 2).sum()), 1e-300)
    rest = off - whole[:, None] * mean
    parts = []
    for part, error in ((whole.real, cut_error[0]), (whole.imag, cut_error[1])):
        seen = float((w * part**2).sum() / w.sum())
        true = max(seen - error**2, 0.1 * seen)
        parts.append(part * np.sqrt(true / max(seen, 1e-300)))
    return np.asarray(rest + (parts[0] + 1j * parts[1])[:, None] * mean)


LOCAL_SPREAD = 0.25
"""Spread of a response's local shape about the library's mean when only few units are known."""

LEAST_LOCAL_SPREAD = 0.01
"""The least of it, however alike the units are."""

LOCAL_LENGTH = 0.12
"""Over which a local shape may change, as a share of the speed range."""


def along(sensor: Sensor) -> FloatArray:
    """Return how far along its sensor's points each point stands, 0 to 1."""
    place: FloatArray = np.zeros(sensor.size)
    for i in np.unique(sensor):
        mine = sensor == i
        place[mine] = np.linspace(0.0, 1.0, int(mine.sum()))
    return place


def unit_shapes(sensor: Sensor, *, length: float, least: float) -> FloatArray:
    """Return smooth shapes over sensors' points, (n, r), whose squares sum to one at each; as `smooth_factor`."""
    return _unit_shapes(sensor.tobytes(), length, least)


@lru_cache(64)
def _unit_shapes(sensors: bytes, length: float, least: float) -> FloatArray:
    sensor = np.frombuffer(sensors, np.intp)
    ones = np.ones(sensor.size)
    shapes = smooth_factor(along(sensor), ones, length=length, least=least, sensor=sensor).real
    shapes.setflags(write=False)  # everybody's
    return np.asarray(shapes)


def smooth_factor(
    x: FloatArray,
    size: FloatArray,
    *,
    length: float,
    least: float,
    sensor: Sensor | None = None,
) -> ComplexArray:
    """Return a factor, (n, r), of smooth shapes over `x` with that size at each point.

    Parameters
    ----------
    length : float
        Over which a shape may change, as a share of the span of `x`.
    least : float
        Shapes with less than this share of the largest variance are left out.
    sensor : ndarray, shape (n,), int, optional
        Of each point; points of two sensors have nothing in common.
    """
    span = max(float(np.ptp(x)), 1e-9)
    apart = (x[:, None] - x) / (length * span)
    alike = np.exp(-0.5 * apart**2)
    if sensor is not None:
        alike *= sensor[:, None] == sensor
    values, vectors = np.linalg.eigh(alike * np.outer(size, size))
    keep = values > least * values[-1]
    return np.asarray(vectors[:, keep] * np.sqrt(values[keep]), dtype=np.complex128)
