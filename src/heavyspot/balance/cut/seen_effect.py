"""What a piece's own cuts were seen to do bounds how large an unknown response can be.

A prior that only says "up to many times the usual size" makes a response that hardly showed look
large: what is seen of it is mostly the scatter of two runs. A response cannot have been larger than
the change that was seen and what scatter may have hidden of it.
"""

from __future__ import annotations

from dataclasses import replace

import numpy as np
from numpy.typing import NDArray
from scipy.ndimage import maximum_filter1d

from .history import History
from .prior import ResponsePrior, Sensor

FloatArray = NDArray[np.float64]

HIDDEN = 0.2
"""Share of the vibration that two runs may differ by without a cut (stated: twice a cold run's tenth)."""

TIMES = 2.0
"""The spread of what is believed is so many times the largest that was seen: a prior near the truth would pull."""

NEAR = 0.2
"""Share of the speed range over which a change is looked for: resonances move."""


GROWS = 4.0
"""The most that a cut is of the one before it that hardly showed, if that was made at all (a stated choice)."""

UNLIKE, ALIKE = 0.75, 0.6
"""Distance of what cuts did from what another rig's population foretold, as a share of it: that its gain hardly
explains (twice its stated spread), and up to which the two say the same."""

SHOWN = 0.35
"""Share of the vibration that a cut must have changed for the direction of a response to be seen in it."""

ANY_TURN = 1.2
"""Spread of a population's gain where its turn is not known: any direction, and a size that is known roughly."""


def turned_round(history: History, priors: dict[str, ResponsePrior]) -> dict[str, ResponsePrior]:
    """Return the priors, another rig's population without its direction where this piece's cuts contradict it.

    A clock read from the other side, a sensor on the other flank: its shape still holds.
    """
    out = dict(priors)
    for plane, prior in priors.items():
        if not prior.card or prior.units:
            continue
        stops = _stops_in(history, plane)
        if any(abs(_gain(history, prior, *stop) - 1.0) > UNLIKE for stop in stops):
            wide = np.concatenate([prior.factor, ANY_TURN * prior.mean[:, None]], axis=1)
            out[plane] = replace(prior, mean=np.zeros_like(prior.mean), factor=wide, card=0)
    return out


def unproven(history: History, priors: dict[str, ResponsePrior]) -> frozenset[str]:
    """Return the planes in which only another rig's population points, and no cut of this piece has confirmed it.

    A cut there may point anywhere, whatever the estimate says: until a cut did what was foretold, or so much that
    its direction was seen.
    """
    out = set()
    for plane, prior in priors.items():
        if prior.units or not prior.card:
            continue
        stops = _stops_in(history, plane)
        as_foretold = [abs(_gain(history, prior, *stop) - 1.0) < ALIKE for stop in stops]
        if not (stops and all(as_foretold)) and not shows(history, plane):
            out.add(plane)
    return frozenset(out)


def seen_once(history: History, priors: dict[str, ResponsePrior]) -> frozenset[str]:
    """Return the planes of which nothing but this piece's own cuts tells, and no two of them did alike.

    Were the one cut elsewhere than is written down, so would everything be that is computed from it.
    """
    own = {c.plane for c in history.cuts if not (priors[c.plane].units or priors[c.plane].card)}
    return frozenset(p for p in own if not _did_alike(history, p))


def _did_alike(history: History, plane: str) -> bool:
    """Whether two stops in that plane alone did alike."""
    did = [
        (history.vectors[run - 1] - history.vectors[run]) / removed
        for run, removed in _stops_in(history, plane)
        if removed
    ]
    gains = (
        complex(np.vdot(b, a)) / max(float((np.abs(b) ** 2).sum()), 1e-300)
        for i, a in enumerate(did)
        for b in did[:i]
    )
    return any(abs(gain - 1.0) < ALIKE for gain in gains)


def shows(history: History, plane: str) -> bool:
    """Whether a cut in that plane alone changed the vibration so much that its direction was seen."""
    return any(_changed(history, run) > SHOWN for run, _ in _stops_in(history, plane))


def largest_in(history: History, plane: str) -> float:
    """Return the largest amount that one stop took off that plane alone, g·mm; 0 for none."""
    return max((abs(removed) for _, removed in _stops_in(history, plane)), default=0.0)


def _stops_in(history: History, plane: str) -> list[tuple[int, complex]]:
    """Return the first run after each stop that cut this plane alone, and what was removed, g·mm."""
    out = []
    for run in sorted({c.before_run for c in history.cuts}):
        cuts = [c for c in history.cuts if c.before_run == run]
        if all(c.plane == plane for c in cuts):
            out.append((run, complex(sum(c.removed for c in cuts))))
    return out


def _gain(history: History, prior: ResponsePrior, run: int, removed: complex) -> complex:
    """Return what a stop did over what was foretold of it, as a complex factor."""
    told = prior.mean * removed
    did = history.vectors[run - 1] - history.vectors[run]
    return complex(np.vdot(told, did) / max(float((np.abs(told) ** 2).sum()), 1e-300))


def _changed(history: History, run: int) -> float:
    """Return how far the vibration went from where it was before a stop, as a share of it."""
    was, now = history.vectors[run - 1], history.vectors[run]
    return float(np.linalg.norm(now - was) / max(float(np.linalg.norm(was)), 1e-300))


def bounded(history: History, priors: dict[str, ResponsePrior]) -> dict[str, ResponsePrior]:
    """Return the priors, those that know nothing held to what cuts in their plane alone were seen to do."""
    out = dict(priors)
    for plane, prior in priors.items():
        if prior.units or prior.mean.any():
            continue
        size = np.sqrt((np.abs(prior.factor) ** 2).sum(axis=1))
        share = np.ones_like(size)
        for run, removed in _stops_in(history, plane):
            if removed == 0:
                continue
            was, now = history.vectors[run - 1], history.vectors[run]
            most = np.abs(now - was) + HIDDEN * np.abs(was)
            near = _highest_near(most / abs(removed), history.sensor)
            share = np.minimum(share, TIMES * near / np.maximum(size, 1e-300))
        out[plane] = replace(prior, factor=prior.factor * share[:, None])
    return out


def _highest_near(x: FloatArray, sensor: Sensor) -> FloatArray:
    """Return the highest value near each point of a sensor."""
    out = np.empty_like(x)
    for i in np.unique(sensor):
        mine = sensor == i
        wide = max(3, int(NEAR * mine.sum()))
        out[mine] = maximum_filter1d(x[mine], size=wide, mode="nearest")
    return out
