"""A rig of its own, from the physics: an unbalanced shaft on oil films in a housing on a soft mount.

Nothing here is shared with the program, its simulator, or the rig of modes: equations of motion of two
masses solved at each speed, a pickup that feels the change of flux, an accelerometer that hears oil,
blades, mains and the broad noise that grows with speed. Every parameter is drawn anew for each unit.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from faults.take import Take
from scipy.signal import butter, lfilter

G_N = 9.80665
TEST_RPM = 150_000.0
RATE_HZ = 51_200.0


@dataclass(frozen=True)
class Unit:
    """One cartridge. Frequencies are shares of test speed's; masses are shares of the housing's."""

    shaft: float
    critical: float
    damping: float
    bending: float
    mount: float
    lag: complex
    scale: complex

    def vector(self, speed_rpm):
        """Return the housing's once-per-turn vector, g, as a lag behind the mark."""
        w = np.asarray(speed_rpm, float) / TEST_RPM
        film = self.shaft * self.critical**2 * (0.8 + 0.4 * w)  # oil films stiffen with speed
        film = film + 2j * self.damping * self.shaft * self.critical * w
        ground = self.mount**2 + 2j * 0.1 * self.mount * w
        bends = 1.0 / (1.0 - (w / self.bending) ** 2 + 0.04j * w)
        # [-m w² + film, -film; -film, -w² + ground + film] [shaft; housing] = [u w²; 0]
        a, d = -self.shaft * w**2 + film, -(w**2) + ground + film
        housing = film * w**2 * bends / (a * d - film**2)
        return np.conj(-(w**2) * housing) * self.lag * self.scale


def make_unit(seed, peak_g):
    """Return a unit whose highest vibration over 15 to 100 % of test speed is that."""
    rng = np.random.default_rng([seed, 9001])
    unit = Unit(
        shaft=0.06 * np.exp(0.1 * rng.standard_normal()),
        critical=0.52 * np.exp(0.06 * rng.standard_normal()),
        damping=0.13 * np.exp(0.15 * rng.standard_normal()),
        bending=1.5 * np.exp(0.04 * rng.standard_normal()),
        mount=0.05 * np.exp(0.1 * rng.standard_normal()),
        lag=complex(np.exp(1j * np.deg2rad(90 + 2 * rng.standard_normal()))),
        scale=complex(np.exp(2j * np.pi * rng.random())),
    )
    grid = np.linspace(0.15, 1.0, 600) * TEST_RPM
    factor = peak_g / np.abs(unit.vector(grid)).max()
    return Unit(**{**unit.__dict__, "scale": unit.scale * factor})


def spin(vector, seed, *, test_rpm=TEST_RPM, top_share=None, hunting=0.0, rate_hz=RATE_HZ):
    """Return one healthy spin of anything with that vector.

    Parameters
    ----------
    vector : callable
    top_share : float, optional
        Highest speed over test speed; a little over 1 when not given.
    hunting : float
        Amplitude of a swinging speed, as a share of it.
    """
    rng = np.random.default_rng([seed, 77])
    top = top_share if top_share is not None else 1.004 + 0.004 * rng.random()
    share = top * _profile(rng, rate_hz, hunting)
    theta = 2 * np.pi * (np.cumsum(share) * test_rpm / 60 / rate_hz + rng.random())
    kind = "pulse" if seed % 3 == 2 else "magnetic"
    duty = float(rng.uniform(0.08, 0.3))
    repeat = (1 + 0.01 * rng.standard_normal()) * np.exp(0.02j * rng.standard_normal())

    def seen(speed_rpm):
        return vector(speed_rpm) * repeat

    return Take(
        rate_hz, share * test_rpm, theta,
        housing(seen, share, theta, test_rpm, rng, rate_hz),
        pickup(kind, duty, share, theta, rng, rate_hz),
        seen, kind, duty, test_rpm,
    )  # fmt: skip


def _profile(rng, rate, hunting):
    """Standstill, a run-up that eases in and out, a hold, a coast-down; shares of the top speed."""
    t = np.arange(int(rng.uniform(4.8, 7.0) * rate)) / rate
    x = t / t[-1]
    ease = rng.uniform(0.2, 0.6)
    rise = (1 - ease) * x + ease * x**2 * (3 - 2 * x)
    if hunting:
        swing = hunting * np.sin(2 * np.pi * rng.uniform(1.5, 3.0) * t + rng.uniform(0, 6))
        rise = np.clip(rise * (1 + swing * (1 - x**8)), 0, 1)
    hold = 1 + 0.0015 * np.sin(
        2 * np.pi * 0.8 * np.arange(int(rng.uniform(0.4, 0.9) * rate)) / rate
    )
    down = np.arange(int(rng.uniform(2.4, 3.4) * rate)) / rate
    fall = hold[-1] * np.exp(-down / rng.uniform(1.0, 1.4))
    return np.concatenate([np.zeros(int(rng.uniform(0.5, 0.9) * rate)), rise, hold, fall])


def housing(vector, share, theta, test_rpm, rng, rate):
    """Return what the accelerometer hears, g."""
    grid = np.linspace(0, share.max() * 1.001, 2000)
    v = vector(np.maximum(grid, 1e-6) * test_rpm)
    out = np.interp(share, grid, v.real) * np.cos(theta)
    out += np.interp(share, grid, v.imag) * np.sin(theta)
    for order in (2, 3):  # each order meets a resonance of the structure of its own
        at, size = rng.uniform(0.4, 2.5) * order, rng.uniform(0.01, 0.035)
        r = order * grid / at
        h = size * grid**2 / (1 - r**2 + 0.4j * r) * np.exp(2j * np.pi * rng.random())
        h *= np.minimum(1.0, 0.05 / np.maximum(np.abs(h), 1e-9))
        out += np.interp(share, grid, h.real) * np.cos(order * theta)
        out += np.interp(share, grid, h.imag) * np.sin(order * theta)
    blades = int(rng.integers(5, 8))
    heard = np.where(blades * share * test_rpm / 60 < 0.45 * rate, share**2, 0.0)
    out += rng.uniform(0.02, 0.12) * heard * np.cos(blades * theta + rng.uniform(0, 6))
    whirl = 1 / (1 + np.exp(-(share - 0.5) / 0.05))  # the weak line every oil film has
    wander = np.cumsum(rng.standard_normal(theta.size)) * 0.01
    out += rng.uniform(0.003, 0.012) * whirl * np.cos(0.47 * theta + wander)
    loud = rng.uniform(0.045, 0.065)
    b, a = butter(1, [200 / (rate / 2), 9000 / (rate / 2)], "band")
    broad = lfilter(b, a, rng.standard_normal(theta.size))
    out += loud * broad / broad.std() * (0.04 + 0.96 * share**1.5)
    t = np.arange(theta.size) / rate
    out += rng.uniform(2e-4, 2e-3) * np.sin(2 * np.pi * mains_hz(rng) * t + rng.uniform(0, 6))
    return out + rng.uniform(3e-4, 1e-3) * rng.standard_normal(theta.size)


def mains_hz(rng):
    """Return the mains: 50 or 60 Hz, as near as a grid is held."""
    return float(rng.choice([50.0, 60.0])) + 0.03 * rng.standard_normal()


def pickup(kind, duty, share, theta, rng, rate):
    """Return the pickup's signal, V, with its noise and hum."""
    if kind == "pulse":
        out = rng.uniform(2.0, 5.0) * pulses(theta, duty)
    else:
        wave = np.sin(theta) + rng.uniform(0, 0.08) * np.sin(2 * theta + rng.uniform(0, 6))
        out = rng.uniform(0.8, 2.5) * share * wave
    return out + pickup_noise(theta.size, rng, rate)


def pickup_noise(size, rng, rate, hum_v=None, noise_v=None):
    """Return noise and hum of a pickup, V."""
    t = np.arange(size) / rate
    hum = rng.uniform(0.002, 0.006) if hum_v is None else hum_v
    noise = rng.uniform(0.002, 0.006) if noise_v is None else noise_v
    hz = mains_hz(rng)
    out = noise * rng.standard_normal(size) + hum * np.sin(2 * np.pi * hz * t + rng.uniform(0, 6))
    return out + 0.15 * hum * np.sin(2 * np.pi * 3 * hz * t + rng.uniform(0, 6))


def pulses(theta, duty, at=0.0, edge=0.012):
    """Return pulses of height 1 whose leading edge passes at that part of a turn."""
    turn = theta / (2 * np.pi) - at - duty / 2
    off = np.abs(turn - np.rint(turn))  # distance from the middle of the nearest pulse, turns
    return 0.5 * (1 - np.tanh((off - duty / 2) / edge))
