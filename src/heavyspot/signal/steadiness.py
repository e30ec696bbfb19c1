"""Findings from the shape of a run: does it agree with itself, is the speed steady, is it swapped?

Thresholds are ours. On the simulated rig they lie at several times what clean runs show, and well
below what the faults show (`make prove` prints both).
"""

from __future__ import annotations

import numpy as np

from ..quantities.finding import Finding, finding_of
from .curve import Curve, Reading
from .phase import PhasedBlocks
from .spectrum import SpeedFrequencyMap
from .standing import MAINS_HZ

LOOSE_NOISE = 0.05
"""Usual uncertainty of a point of the curve, as a share of it, above which a sensor rattles."""

LOOSE_FROM_G = 0.06
"""Below it the broad noise of oil and air alone makes that share: a well balanced piece is no loose sensor."""

DRIFT_SHARE, DRIFT_BLOCKS = 0.05, 0.08
"""Difference between run-up and coast-down, as a share of the vector, worth a word; too much to cut on."""

DRIFT_CLEAR = 2.0
"""The same over what the points' noise makes of it: 0.7 to 1 on clean runs."""

HUNTING = 0.04
"""Ups and downs of the speed beyond one rise and one fall, as a share of them."""


def steadiness_findings(reading: Reading) -> list[Finding]:
    """Return what disagrees within a run whose reference can be trusted."""
    if not reading.curves:
        return []
    main = reading.curves[0]
    return [*_loose(main), *_drifts(reading), *_unsteady(reading.blocks)]


def hum_findings(spectra: SpeedFrequencyMap, *, limit_g: float) -> list[Finding]:
    """Return a warning when the mains line of the accelerometer is worth a tenth of the limit."""
    f = spectra.frequency_hz
    if spectra.time_s.size < 4 or f.size < 16:
        return []
    levels = []
    for hz in MAINS_HZ:
        k = int(np.abs(f - hz).argmin())
        low = max(1, k - 6)
        about = spectra.amplitude[:, low : k + 7].astype(np.float32)
        near = about[:, max(1, k - 1) - low : k + 2 - low].max(axis=1)
        around = np.delete(about, slice(4, 8), axis=1)
        levels.append((float(np.median(near)), float(np.median(around)), hz))
    level, floor, hz = max(levels)
    if level < 0.1 * limit_g or level < 6 * floor:
        return []
    return [
        finding_of(
            "sensor.hum",
            "warn",
            f"The accelerometer carries {level:.2f} g of mains hum at {hz:.0f} Hz all the time.",
            {"amplitude_g": level, "frequency_hz": hz},
        )
    ]


def _loose(curve: Curve) -> list[Finding]:
    fast = curve.speed_rpm > 0.3 * curve.speed_rpm[-1]
    amplitude = np.abs(curve.vector[0, fast])
    if fast.sum() < 10:
        return []
    heard = amplitude > LOOSE_FROM_G
    if heard.sum() < 10:
        return []
    share = float(np.median(curve.noise[0, fast][heard] / amplitude[heard]))
    if share < LOOSE_NOISE:
        return []
    return [
        finding_of(
            "sensor.loose",
            "block",
            f"The vector jumps about by {100 * share:.0f} % from moment to moment; a rotor does not do that.",
            {"share": share},
        )
    ]


def _drifts(reading: Reading) -> list[Finding]:
    up = next((c for c in reading.curves if c.direction == "up"), None)
    down = next((c for c in reading.curves if c.direction == "down"), None)
    if up is None or down is None:
        return []
    low = max(up.speed_rpm[0], down.speed_rpm[0], 0.2 * up.speed_rpm[-1])
    high = min(up.speed_rpm[-1], down.speed_rpm[-1])
    if high < 1.5 * low:
        return []
    speed = np.linspace(low, high, 80)
    one, two = (np.interp(speed, c.speed_rpm, c.vector[0]) for c in (up, down))
    size = float(np.sqrt((np.abs(one) ** 2).sum()))
    noise = float(
        np.sqrt(sum((np.interp(speed, c.speed_rpm, c.noise[0]) ** 2).sum() * 2 for c in (up, down)))
    )
    change = float(np.sqrt((np.abs(two - one) ** 2).sum()))
    if change < DRIFT_CLEAR * noise or np.abs(one).max() < 0.05:
        return []
    share = float(np.sqrt(change**2 - noise**2)) / max(size, 1e-12)
    if share < DRIFT_SHARE:
        return []
    return [
        finding_of(
            "vector.drifts",
            "block" if share > DRIFT_BLOCKS else "warn",
            f"Coming down the vector differs by {100 * share:.0f} % from going up: it changed during the spin.",
            {"share": share},
        )
    ]


def _unsteady(blocks: PhasedBlocks) -> list[Finding]:
    speed = blocks.speed_rpm[np.isfinite(blocks.speed_rpm) & blocks.trusted]
    size = max(1, round(0.03 / blocks.block_s))
    if speed.size < 8 * size:
        return []
    speed = speed[: speed.size // size * size].reshape(-1, size).mean(axis=1)
    needed = 2 * speed.max() - speed[0] - speed[-1]
    hunting = float(np.abs(np.diff(speed)).sum() / max(needed, 1e-9) - 1)
    if needed < 0.5 * speed.max() or hunting < HUNTING:
        return []
    return [
        finding_of(
            "speed.unsteady",
            "warn",
            f"The speed hunted up and down ({100 * hunting:.0f} % more than one rise and one fall).",
            {"hunting": hunting},
        )
    ]
