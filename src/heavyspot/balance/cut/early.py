"""Where a run that still climbs will end, from its lower speeds and what other units of the model teach.

A curve is the response of each plane times the unbalance there. For every response drawn from the library's prior
the unbalances are a linear least-squares fit to the speeds already seen (a normal prior that says only their size);
how well each draw explains them is its weight (importance sampling; Bishop, Pattern Recognition and Machine
Learning (2006), 3.3 and 11.1.4). What the weighted draws give at the speeds to come is foretold.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from .history import Scatter
from .prior import ResponsePrior

ComplexArray = NDArray[np.complex128]
FloatArray = NDArray[np.float64]

DRAWS = 300
"""Possibilities tried (a cost: 1 to 10 ms)."""

LEAST_UNITS = 5
"""Units of the model that must be known of a plane before anything is foretold (a stated choice)."""

LEAST_POINTS = 8
"""Speeds that must be seen (a stated choice)."""

LEAST_WEIGHTS = 20.0
"""Draws that must carry the weight; weights are flattened until they do: no single unit is believed."""

MISFIT = 4.0
"""Times the expected residual above which no draw explains what is seen, and nothing is said."""

WARP = 0.02
"""By how much a unit's resonances stand elsewhere, beside what the library shows, as a share (a stated choice)."""

MISS = 0.2
"""Standard deviation of the logarithm of what no known unit shows: warmth, a bow, damping (a stated choice)."""

SIZE = 3.0
"""Unbalance of a plane beside what would explain all that is seen: a wide prior's standard deviation."""


@dataclass(frozen=True)
class Early:
    """What is foretold of the speeds to come.

    Attributes
    ----------
    chance_over : float
        That the curve goes over its limit at a speed to come.
    over_at_rpm : float
        Where it first does, the weighted median of the draws that do; NaN when none does.
    highest_g : float
        Weighted median of the highest value to come.
    """

    chance_over: float
    over_at_rpm: float
    highest_g: float


def possible_responses(
    speed_rpm: FloatArray, priors: dict[str, ResponsePrior], *, seed: int = 0
) -> ComplexArray | None:
    """Return responses a unit of the model may have, (draws, n, planes); None where too few units are known.

    They do not depend on what is seen: drawn once, they serve a whole run.
    """
    known = [p for p in priors.values() if p.units >= LEAST_UNITS]
    if not known:
        return None
    rng = np.random.default_rng(seed)
    return _warped(np.stack([_draws(p, rng) for p in known], axis=2), speed_rpm, rng)


def early_word(
    speed_rpm: FloatArray,
    limit_g: FloatArray,
    seen: ComplexArray,
    responses: ComplexArray | None,
    scatter: Scatter,
    *,
    seed: int = 0,
) -> Early | None:
    """Return what the rest of a run will be; None where too little is seen or known, or nothing explains it.

    Parameters
    ----------
    speed_rpm, limit_g : ndarray, shape (n,)
        The model's speeds, ascending, and the limit there.
    seen : ndarray, shape (k,), complex
        Vector of one sensor at the first k of them, g.
    responses : ndarray, shape (draws, n, planes), complex, or None
        As `possible_responses` gives them.
    """
    k, n = seen.size, speed_rpm.size
    if responses is None or k < LEAST_POINTS or k >= n:
        return None
    rng = np.random.default_rng([seed, k])
    noise = 0.01 * float(limit_g.min()) + scatter.run_shape * np.abs(seen)
    misfit = _fitted(responses[:, :k], seen, noise, rng)[2]
    if misfit > MISFIT:
        return None
    u, loglik, _ = _fitted(responses[:, :k], seen, noise * max(1.0, misfit), rng)
    weight = _weights(loglik)
    miss = np.exp(MISS * rng.standard_normal(DRAWS))
    after = np.abs(np.einsum("dnp,dp->dn", responses[:, k:], u)) * miss[:, None]
    ratio = after / limit_g[k:]
    over = ratio > 1.0
    goes = over.any(axis=1)
    first = speed_rpm[k:][over.argmax(axis=1)]
    at = _median(first[goes], weight[goes]) if goes.any() else float("nan")
    return Early(float(weight[goes].sum()), at, _median(after.max(axis=1), weight))


def _draws(prior: ResponsePrior, rng: np.random.Generator) -> ComplexArray:
    r = prior.factor.shape[1]
    g = (rng.standard_normal((DRAWS, r)) + 1j * rng.standard_normal((DRAWS, r))) / np.sqrt(2.0)
    return np.asarray(prior.mean + g @ prior.factor.T)


def _warped(H: ComplexArray, speed_rpm: FloatArray, rng: np.random.Generator) -> ComplexArray:
    """Return the draws, (draws, n, planes), each with its speed axis stretched: resonances move with the unit."""
    out = np.empty_like(H)
    for i, stretch in enumerate(1.0 + WARP * rng.standard_normal(DRAWS)):
        for p in range(H.shape[2]):
            out[i, :, p] = np.interp(speed_rpm * stretch, speed_rpm, H[i, :, p])
    return out


def _fitted(
    H: ComplexArray, seen: ComplexArray, noise: FloatArray, rng: np.random.Generator
) -> tuple[ComplexArray, FloatArray, float]:
    """Return an unbalance for each draw, how well it explains what is seen, and the best one's misfit."""
    A, y = H / noise[:, None], seen / noise
    size = SIZE * np.linalg.norm(y) / np.maximum(np.linalg.norm(A, axis=(1, 2)), 1e-300)
    planes = A.shape[2]
    gram = np.einsum("dkp,dkq->dpq", A.conj(), A)
    eye = np.eye(planes) / (size**2)[:, None, None]
    precision = gram + eye
    b = np.einsum("dkp,k->dp", A.conj(), y)
    mean = np.linalg.solve(precision, b[:, :, None])[:, :, 0]
    rest = (np.abs(y) ** 2).sum() - np.einsum("dp,dp->d", b.conj(), mean).real
    # log evidence of a linear-Gaussian fit, constants left out
    logdet = np.linalg.slogdet(precision)[1] + 2 * planes * np.log(size)
    lower = np.linalg.cholesky(np.linalg.inv(precision))
    g = (rng.standard_normal(mean.shape) + 1j * rng.standard_normal(mean.shape)) / np.sqrt(2.0)
    u = mean + np.einsum("dpq,dq->dp", lower, g)
    return np.asarray(u), np.asarray(-rest - logdet), float(np.sqrt(rest.min() / seen.size))


def _weights(loglik: FloatArray) -> FloatArray:
    """Return weights that sum to one, flattened until enough draws carry them."""
    heat = 1.0
    while True:
        w = np.exp((loglik - loglik.max()) / heat)
        w /= w.sum()
        if 1.0 / float((w**2).sum()) >= LEAST_WEIGHTS:
            return np.asarray(w)
        heat *= 1.5


def _median(values: FloatArray, weight: FloatArray) -> float:
    order = np.argsort(values)
    whole = np.cumsum(weight[order])
    return float(values[order][int(np.searchsorted(whole, 0.5 * whole[-1]))])
