"""Faults of the vibration channel: each takes a healthy spin and a size from 0 (faint) to 1 (gross)."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
from faults.turbo import mains_hz
from scipy.signal import butter, iirpeak, lfilter


def between(low, high, size):
    """Return the value at that size on a scale of ratios."""
    return float(low * (high / low) ** size)


def _noise(take, rng, rms_g):
    return rms_g * rng.standard_normal(take.theta.size)


def _hum(take, rng, g):
    return g * np.sin(2 * np.pi * mains_hz(rng) * take.time_s + rng.uniform(0, 6))


def _heard(take, housing_g):
    return replace(take, housing_g=housing_g)


def all_zero(take, size, rng):
    return _heard(take, np.zeros(take.theta.size))


def noise_only(take, size, rng):
    return _heard(take, _noise(take, rng, between(1.2e-4, 0.02, size)))


def mains_only(take, size, rng):
    return _heard(take, _hum(take, rng, between(0.002, 0.2, size)) + _noise(take, rng, 5e-4))


def crosstalk_only(take, size, rng):
    """The accelerometer is off; what is left is the pickup's signal on the neighbouring wire."""
    leak = between(0.01, 0.3, size) / max(np.abs(take.pickup_v).max(), 1e-9)
    return _heard(take, leak * take.pickup_v + _noise(take, rng, 1e-3))


def dies_midway(take, size, rng):
    """Dies on the way up: late when faint, early when gross."""
    top = int(np.argmax(take.speed_rpm))
    dead_from = int(np.argmax(take.share > (0.92 - 0.65 * size) * take.share.max()))
    alive = np.arange(take.theta.size) < min(dead_from, top)
    return _heard(take, np.where(alive, take.housing_g, _noise(take, rng, 1e-3)))


def silent_at_resonance(take, size, rng):
    """Loses contact wherever it shakes most: just at the top of the curve, or over most of it."""
    grid = np.linspace(0, take.speed_rpm.max(), 2000)
    curve = np.abs(take.vector(np.maximum(grid, 1.0)))
    inside = grid > 0.15 * take.test_speed_rpm
    lost = curve > (0.85 - 0.5 * size) * curve[inside].max()
    off = np.interp(take.speed_rpm, grid, lost.astype(float)) > 0.5
    return _heard(take, np.where(off, _noise(take, rng, 1e-3), take.housing_g))


def drops_out(take, size, rng):
    """A broken wire that opens now and then, for a tenth of a second or so."""
    cells = int(take.time_s[-1] / 0.12) + 2
    open_ = rng.random(cells) < between(0.12, 0.6, size)
    off = open_[(take.time_s / 0.12).astype(int)]
    return _heard(take, np.where(off, _noise(take, rng, 1e-3), take.housing_g))


def loose_cable(take, size, rng):
    """Crackles: contact is lost for milliseconds, many times a second."""
    cells = int(take.time_s[-1] / 0.004) + 2
    off = (rng.random(cells) < between(0.15, 0.6, size))[(take.time_s / 0.004).astype(int)]
    return _heard(take, np.where(off, 0.0, take.housing_g) + _noise(take, rng, 1e-3))


def loose_sensor(take, size, rng):
    """Lifts off and slaps back: its gain jumps about."""
    n = take.theta.size // 256 + 1
    gain = np.repeat(1 + between(0.5, 1.0, size) * rng.standard_normal(n), 256)[: take.theta.size]
    return _heard(take, take.housing_g * gain)


def open_cable(take, size, rng):
    """The wire is off; a few per cent come through its capacitance."""
    return _heard(take, take.housing_g * between(0.05, 0.005, size) + _noise(take, rng, 1e-3))


def too_insensitive(take, size, rng):
    return _heard(take, take.housing_g * between(0.5, 0.1, size))


def too_sensitive(take, size, rng):
    return _heard(take, take.housing_g * between(2.0, 10.0, size))


def wrong_unit(take, size, rng):
    """Metres per second squared written down as g, or the other way round."""
    return _heard(take, take.housing_g * (9.80665 if rng.random() < 0.5 else 1 / 9.80665))


def gain_falls_midway(take, size, rng):
    top = int(np.argmax(take.speed_rpm))
    fallen = np.arange(take.theta.size) > rng.uniform(0.55, 0.9) * top
    return _heard(take, np.where(fallen, between(0.6, 0.2, size), 1.0) * take.housing_g)


def _largest(take):
    fast = take.share > 0.15
    return float(np.percentile(np.abs(take.housing_g[fast]), 99.5))


def clips_hard(take, size, rng):
    at = between(0.75, 0.25, size) * _largest(take)
    return _heard(take, np.clip(take.housing_g, -at, at) + _noise(take, rng, 5e-4))


def clips_softly(take, size, rng):
    at = between(0.7, 0.3, size) * _largest(take)
    return _heard(take, at * np.tanh(take.housing_g / at))


def clips_on_one_side(take, size, rng):
    at = between(0.6, 0.15, size) * _largest(take)
    out = np.minimum(take.housing_g, at) if rng.random() < 0.5 else np.maximum(take.housing_g, -at)
    return _heard(take, out + _noise(take, rng, 5e-4))


def clips_before_the_filter(take, size, rng):
    """An amplifier clips, and a filter behind it rounds the corners off again."""
    at = between(0.7, 0.25, size) * _largest(take)
    b, a = butter(2, 0.8)
    return _heard(take, lfilter(b, a, np.clip(take.housing_g, -at, at)))


def full_scale_reached(take, size, rng):
    return _heard(take, take.housing_g * between(115, 300, size) / _largest(take))


def hum(take, size, rng):
    return _heard(take, take.housing_g + _hum(take, rng, between(0.1, 0.5, size)))


def fixed_tone(take, size, rng):
    """A pump or a fan beside the rig: the same frequency whatever the rotor does."""
    hz = rng.uniform(0.25, 0.6) * take.test_speed_rpm / 60
    tone = between(0.03, 0.3, size) * np.sin(2 * np.pi * hz * take.time_s)
    return _heard(take, take.housing_g + tone)


def mount_resonance(take, size, rng):
    """A loose clamp rings at one frequency of its own, whichever order drives it."""
    at = rng.uniform(0.45, 0.75) * take.test_speed_rpm / 60
    ring = lfilter(*iirpeak(at / (0.5 * take.rate_hz), 40.0), take.housing_g)
    return _heard(take, take.housing_g + between(4.0, 8.0, size) * ring)


def _order(take, order, rng, slip=0.0):
    wander = np.cumsum(rng.standard_normal(take.theta.size)) * slip
    return np.cos(order * take.theta + wander + rng.uniform(0, 6))


def whirl(take, size, rng):
    grows = 1 / (1 + np.exp(-(take.share - 0.55) / 0.04))
    line = between(0.12, 1.2, size) * grows * _order(take, rng.uniform(0.42, 0.48), rng, 0.004)
    return _heard(take, take.housing_g + line)


def whip(take, size, rng):
    """A whirl that has met a resonance stays at its frequency."""
    onset = rng.uniform(0.5, 0.65)
    speed = np.minimum(take.share, onset) * take.test_speed_rpm / 60
    turned = 2 * np.pi * np.cumsum(0.47 * speed) / take.rate_hz
    grows = 1 / (1 + np.exp(-(take.share - onset) / 0.03))
    return _heard(take, take.housing_g + between(0.12, 1.2, size) * grows * np.cos(turned))


def rub(take, size, rng):
    touch = 1 / (1 + np.exp(-(take.share - 0.6) / 0.03))
    line = sum(
        s * np.cos(order * take.theta + order) for order, s in ((0.5, 1.0), (1.5, 0.3), (2.0, 0.5))
    )
    return _heard(take, take.housing_g + between(0.1, 0.8, size) * touch * line)


def half_order_over_once(take, size, rng):
    """Contact at half order, three times and more the once-per-turn vibration."""
    touch = 1 / (1 + np.exp(-(take.share - rng.uniform(0.3, 0.5)) / 0.03))
    line = between(2.5, 5.0, size) * take.peak_g() * touch * _order(take, 0.5, rng)
    return _heard(take, take.housing_g + line)


def many_blades(take, size, rng):
    """A loud blade-pass line just under half the sample rate: folded by bad thinning, it creeps below."""
    order = int(0.98 * 0.5 * take.rate_hz / (take.speed_rpm.max() / 60))
    line = between(0.3, 3.0, size) * np.minimum(take.share, 1) ** 2 * _order(take, order, rng)
    return _heard(take, take.housing_g + line)


def aliased_blades(take, size, rng):
    """No filter before the converter: a line above half the rate comes back down as the speed rises."""
    order = int(rng.integers(13, 18))
    line = between(0.05, 0.5, size) * np.minimum(take.share, 1) ** 2 * _order(take, order, rng)
    return _heard(take, take.housing_g + line)


def bows(take, size, rng):
    """The rotor bows as it warms: the vector drifts through the spin."""
    far = between(0.3, 1.0, size) * np.exp(2j * np.pi * rng.random())
    grid = np.linspace(1.0, take.speed_rpm.max() * 1.001, 2000)
    v = take.vector(grid) * far
    late = np.arange(take.theta.size) / take.theta.size
    extra = np.interp(take.speed_rpm, grid, v.real) * np.cos(take.theta)
    extra += np.interp(take.speed_rpm, grid, v.imag) * np.sin(take.theta)
    return _heard(take, take.housing_g + late * extra)
