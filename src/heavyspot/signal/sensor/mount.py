"""A resonance of the mount: one narrow peak at one frequency, whichever order drives it.

A rotor's own critical speed is damped by its oil film and is driven by the turning itself; a fixture, a
clamp or a hose rings at its own frequency whenever any order passes it: once per turn at that speed, twice
per turn at half of it, three times at a third. And whatever else is in the air and the oil makes it ring all the
time: its frequency stands above its neighbours at every speed. Common knowledge of modal testing; thresholds are
ours.
"""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from ...quantities.finding import Finding, finding_of
from ...quantities.said import Said
from ..curve import Curve, Reading
from ..spectrum import SpeedFrequencyMap

FloatArray = NDArray[np.float64]

NARROW = 0.08
"""A peak is narrow that has fallen off this far away, as a share of its speed."""

STANDS_OUT = 1.8
"""How much a narrow peak stands above the curve on both sides of it."""

LEAST_G = 0.03
"""Smaller peaks are not worth a word."""

FAINT_OUT, FAINT_G = 2.8, 0.003
"""Peaks of twice and of three times per turn that together confirm one, each too small to do so alone."""

ALWAYS_OUT, ALWAYS_QUANTILE = 2.5, 0.3
"""How far a frequency stands above its neighbours at most speeds; clean: 1.2 to 1.4, a ringing mount: 4 to 7."""

_ROWS = 512


def mount_findings(
    reading: Reading, spectra: SpeedFrequencyMap, *, tones_hz: tuple[float, ...] = ()
) -> list[Finding]:
    """Return a word on a resonance of the mount; a ``block`` when it makes the highest vibration.

    Parameters
    ----------
    reading : Reading
        Of one channel.
    spectra : SpeedFrequencyMap
        Of the same channel.
    tones_hz : tuple of float
        Tones from elsewhere, Hz: they stand out at every speed and are no resonance.
    """
    if not reading.curves:
        return []
    curve = reading.curves[0]
    once = np.abs(curve.vector[0])
    speed = curve.speed_rpm
    worst = speed[int(np.argmax(once))]
    for at in _narrow_peaks(speed, once):
        orders = ((2, curve.twice[0]), (3, curve.thrice[0]))
        loud = any(_rings(speed, more, at / n) for n, more in orders)
        # faint in both, and clearer than chance makes a peak at both places
        faint = all(_rings(speed, more, at / n, FAINT_OUT, FAINT_G) for n, more in orders)
        if not (loud or faint or _always_rings(spectra, at / 60, tones_hz)):
            continue
        highest = abs(worst - at) < NARROW * at
        return [_finding(curve, once, at, highest)]
    return []


def _finding(curve: Curve, once: FloatArray, at: float, highest: bool) -> Finding:
    level = float(np.interp(at, curve.speed_rpm, once))
    return finding_of(
        "mount.resonance",
        "block" if highest else "warn",
        f"A narrow peak at {at:,.0f} rpm ({at / 60:,.0f} Hz, {level:.2f} g) rings with the other orders "
        "too: the mount's own resonance, not the rotor's.",
        {"speed_rpm": at, "frequency_hz": at / 60, "amplitude_g": level},
        do=Said("do.mount.resonance_highest") if highest else None,
    )


def _stands_out(speed: FloatArray, amplitude: FloatArray) -> FloatArray:
    """Return each point over the larger of the amplitudes a little below and a little above."""
    below = np.interp(speed * (1 - NARROW), speed, amplitude)
    above = np.interp(speed * (1 + NARROW), speed, amplitude)
    inside = (speed * (1 - NARROW) >= speed[0]) & (speed * (1 + NARROW) <= speed[-1])
    return np.where(inside, amplitude / np.maximum(np.maximum(below, above), 1e-9), 0.0)


def _narrow_peaks(speed: FloatArray, once: FloatArray) -> list[float]:
    """Return the speeds of narrow peaks of the once-per-turn amplitude, the clearest first."""
    out = _stands_out(speed, once)
    top = (
        (out > STANDS_OUT)
        & (once > LEAST_G)
        & (once >= np.roll(once, 1))
        & (once >= np.roll(once, -1))
    )
    return [float(speed[k]) for k in sorted(np.flatnonzero(top), key=lambda k: -out[k])]


def _always_rings(spectra: SpeedFrequencyMap, at_hz: float, tones_hz: tuple[float, ...]) -> bool:
    """Whether a frequency stands above its neighbours whatever the rotor does."""
    f = spectra.frequency_hz
    if any(abs(tone / at_hz - 1) < NARROW for tone in tones_hz) or spectra.time_s.size < 8:
        return False
    away = np.abs(f / at_hz - 1)
    here, beside = away < 0.01, (away > 0.06) & (away < 0.15)
    if not here.any() or beside.sum() < 4:
        return False
    rows = spectra.amplitude[:: max(1, spectra.time_s.size // _ROWS)]
    most = np.quantile(rows[:, here | beside].astype(np.float32), ALWAYS_QUANTILE, axis=0)
    among = here[here | beside]
    usual = max(float(np.median(most[~among])), 1e-12)
    return bool(most[among].max() > ALWAYS_OUT * usual)


def _rings(
    speed: FloatArray,
    more: FloatArray,
    near: float,
    out_from: float = STANDS_OUT,
    least_g: float = 0.3 * LEAST_G,
) -> bool:
    """Whether another order has a narrow peak near a speed."""
    step = float(np.median(np.diff(speed)))
    window = np.abs(speed - near) <= max(0.03 * near, 2 * step)
    if window.sum() < 2 or near < 0.08 * speed[-1]:
        return False
    k = np.flatnonzero(window)[int(np.argmax(more[window]))]
    out = _stands_out(speed, more)
    return bool(out[k] > out_from and more[k] > least_g)
