"""How long pieces stay out: the product-limit estimate, after E.L. Kaplan and P. Meier (1958)."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from ..quantities.errors import BadInput


@dataclass(frozen=True)
class Survival:
    """Share of pieces without a claim, after a time.

    Attributes
    ----------
    time : tuple of float
        Of each claim.
    share : tuple of float
    low, high : tuple of float
        95 % limits, log-log (they stay between 0 and 1).
    at_risk : tuple of int
    n, claims : int
    """

    time: tuple[float, ...]
    share: tuple[float, ...]
    low: tuple[float, ...]
    high: tuple[float, ...]
    at_risk: tuple[int, ...]
    n: int
    claims: int


def survival(
    time: Sequence[float], claimed: Sequence[bool], pieces: Sequence[int] | None = None
) -> Survival:
    """Return the estimate.

    Parameters
    ----------
    time : sequence of float
        To the claim, or to today for those without one.
    claimed : sequence of bool
    pieces : sequence of int, optional
        How many pieces each stands for; one when not given.

    Raises
    ------
    BadInput
        Nothing, or times that are negative.
    """
    t, event = np.asarray(time, float), np.asarray(claimed, bool)
    n = np.ones(len(t), int) if pieces is None else np.asarray(pieces, int)
    if (
        len(t) == 0
        or not len(t) == len(event) == len(n)
        or not np.isfinite(t).all()
        or (t < 0).any()
    ):
        raise BadInput("There is nothing to estimate from.", remedy="Give times from 0 on.")
    times, place = np.unique(t[event], return_inverse=True)
    counts = np.bincount(place, weights=n[event], minlength=len(times)).astype(int)
    order = np.argsort(t)
    before = np.concatenate([[0], np.cumsum(n[order])])
    at_risk = int(n.sum()) - before[np.searchsorted(t[order], times, side="left")]
    share = np.cumprod(1.0 - counts / at_risk)
    with np.errstate(divide="ignore"):
        green = np.cumsum(counts / (at_risk * np.maximum(at_risk - counts, 1e-300)))
    low, high = [], []
    for s, g in zip(share, green, strict=True):
        if s <= 0.0 or s >= 1.0:
            low.append(float(s))
            high.append(float(s))
            continue
        spread = 1.96 * math.sqrt(g) / abs(math.log(s))
        low.append(float(s ** math.exp(spread)))
        high.append(float(s ** math.exp(-spread)))
    return Survival(
        tuple(map(float, times)), tuple(map(float, share)), tuple(low), tuple(high),
        tuple(map(int, at_risk)), int(n.sum()), int(n[event].sum()),
    )  # fmt: skip
