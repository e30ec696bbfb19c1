"""One spin of a simulated cartridge: what pickup and accelerometer would deliver, faults included."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from .cartridge import Cartridge

SENSITIVITY_V_PER_G = 0.1
FULL_SCALE_V = 10.0

FAULTS = (
    "whirl",
    "rub",
    "two_poles",
    "weak_magnet",
    "reversed_magnet",
    "dropped_marks",
    "lost_above",
    "hum",
    "sensor_dead",
    "sensor_clipped",
    "speed_not_reached",
    "over_rated_speed",
    "rig_hum",
    "unsteady",
    "drift",
    "loose_sensor",
    "swapped",
    "mount_resonance",
)
"""Faults that can be switched on by name."""


@dataclass(frozen=True)
class SpinSettings:
    """How the rig is run and how good it is.

    Attributes
    ----------
    sample_rate_hz : float
    run_up_s, hold_s, coast_s : float
    amplitude_repeat, angle_repeat_deg : float
        Run-to-run scatter of the vector: share, and degrees (standard deviations).
    noise_g : float
        Broad-band noise of the housing, g rms.
    pickup_v : float
        Pickup amplitude at test speed, V.
    pickup_noise_v : float
    hum_v : float
        Mains hum on the pickup, V (50 Hz).
    faults : tuple of str
        Of `FAULTS`.
    """

    sample_rate_hz: float = 51_200.0
    run_up_s: float = 8.0
    hold_s: float = 0.6
    coast_s: float = 4.0
    amplitude_repeat: float = 0.025
    angle_repeat_deg: float = 2.0
    noise_g: float = 0.03
    pickup_v: float = 2.0
    pickup_noise_v: float = 0.006
    hum_v: float = 0.008
    faults: tuple[str, ...] = ()

    def __post_init__(self) -> None:
        unknown = set(self.faults) - set(FAULTS)
        if unknown:
            raise ValueError(f"unknown faults {sorted(unknown)}; known: {FAULTS}")


@dataclass(frozen=True)
class Spin:
    """Samples of one spin.

    Attributes
    ----------
    samples : ndarray, shape (n, 2), float32
        Housing and pickup as shares of `FULL_SCALE_V`.
    speed_rpm : ndarray, shape (n,)
        The true speed.
    """

    sample_rate_hz: float
    samples: NDArray[np.float32]
    speed_rpm: NDArray[np.float64]


def spin(unit: Cartridge, seed: int, settings: SpinSettings | None = None) -> Spin:
    """Return one spin up to test speed and down again."""
    s = settings or SpinSettings()
    rng = np.random.default_rng([seed, 113])
    rate = s.sample_rate_hz
    speed = _profile(unit, s, rng)
    turns = np.cumsum(speed) / (60 * rate)
    turns -= turns[0]
    theta = 2 * np.pi * turns + rng.uniform(0, 2 * np.pi)
    repeat = (1 + s.amplitude_repeat * rng.standard_normal()) * np.exp(
        1j * np.deg2rad(s.angle_repeat_deg) * rng.standard_normal()
    )
    housing = _housing_g(unit, s, speed, theta, complex(repeat), rng)
    pickup = _pickup_v(unit, s, speed, theta, rng)
    volts = np.stack([housing * SENSITIVITY_V_PER_G, pickup], axis=1)
    if "sensor_dead" in s.faults:
        volts[:, 0] = 0.0
    if "sensor_clipped" in s.faults:
        peak = float(np.abs(volts[:, 0]).max())
        volts[:, 0] *= 1.6 * FULL_SCALE_V / peak
    if "swapped" in s.faults:
        volts = volts[:, ::-1]
    samples = np.clip(volts / FULL_SCALE_V, -1.0, 1.0 - 2.0**-23)
    return Spin(rate, samples.astype(np.float32), speed)


def _profile(unit: Cartridge, s: SpinSettings, rng: np.random.Generator) -> NDArray[np.float64]:
    top = unit.size.test_speed_rpm * 1.005
    if "speed_not_reached" in s.faults:
        top = 0.82 * unit.size.test_speed_rpm
    if "over_rated_speed" in s.faults:
        top = 1.06 * unit.size.rated_speed_rpm
    dt = 1 / s.sample_rate_hz
    up = np.arange(0, s.run_up_s, dt) / s.run_up_s
    ease = 0.06 * np.sin(2 * np.pi * up + rng.uniform(-0.5, 0.5)) / (2 * np.pi)
    ease -= ease[0]
    rise = np.clip(up + ease - (ease[-1]) * up, 0, 1)
    hold = np.arange(0, s.hold_s, dt)
    held = 1 + 0.002 * (np.cos(2 * np.pi * 0.9 * hold) - 1)
    if "unsteady" in s.faults:
        top *= 0.985
        hunting = np.sin(2 * np.pi * 2.5 * np.arange(rise.size) * dt + rng.uniform(0, 6))
        rise = np.clip(rise * (1 + 0.04 * hunting * rise), 0, 1.01)
    down = np.arange(0, s.coast_s, dt)
    fall = held[-1] * np.exp(-down / (0.55 * s.coast_s)) if down.size else np.empty(0)
    return np.asarray(top * np.concatenate([rise, held, fall]))


def _housing_g(
    unit: Cartridge,
    s: SpinSettings,
    speed: NDArray[np.float64],
    theta: NDArray[np.float64],
    repeat: complex,
    rng: np.random.Generator,
) -> NDArray[np.float64]:
    grid = np.linspace(100.0, speed.max() * 1.001, 500)
    vector = unit.vector(grid) * repeat
    real, imaginary = np.interp(speed, grid, vector.real), np.interp(speed, grid, vector.imag)
    if "drift" in s.faults:  # the rotor bows as it warms
        share = np.arange(theta.size) / theta.size
        bow = (0.35 + 0.4 * rng.random()) * np.exp(2j * np.pi * rng.random()) * share
        turned = (real + 1j * imaginary) * (1 + bow)
        real, imaginary = turned.real, turned.imag
    once = real * np.cos(theta) + imaginary * np.sin(theta)
    share = speed / unit.size.test_speed_rpm
    twice = (0.03 + 0.05 * rng.random()) * share**2
    thrice = (0.01 + 0.03 * rng.random()) * share**2
    phases = rng.uniform(0, 2 * np.pi, 6)
    out = once + twice * np.cos(2 * theta + phases[0]) + thrice * np.cos(3 * theta + phases[1])
    if "whirl" in s.faults:
        grows = 1 / (1 + np.exp(-(share - 0.55) / 0.04))
        wander = np.cumsum(rng.standard_normal(theta.size)) * 0.004
        out += (0.8 + rng.random()) * grows * np.cos(0.46 * theta + wander + phases[2])
    if "rub" in s.faults:
        touch = 1 / (1 + np.exp(-(share - 0.6) / 0.03))
        for order, size in ((0.5, 0.35), (2.0, 0.8), (3.0, 0.6), (4.0, 0.5)):
            out += size * touch * np.cos(order * theta + phases[3] * order)
    if "mount_resonance" in s.faults:  # a loose clamp rings at one frequency of its own
        from scipy.signal import iirpeak, lfilter

        top_hz = unit.size.test_speed_rpm / 60
        at = (0.45 + 0.3 * rng.random()) * top_hz / (0.5 * s.sample_rate_hz)
        out += (4.0 + 3.0 * rng.random()) * lfilter(*iirpeak(at, 40.0), out)
    out += s.noise_g * (0.25 + share**2) * rng.standard_normal(theta.size)
    if "rig_hum" in s.faults:
        t = np.arange(theta.size) / s.sample_rate_hz
        out += (0.12 + 0.1 * rng.random()) * np.sin(2 * np.pi * 50 * t + phases[4])
    if "loose_sensor" in s.faults:  # it lifts off and slaps back, some tens of times a second
        gaps = np.repeat(rng.random(theta.size // 256 + 1), 256)[: theta.size] < 0.3
        out = np.where(gaps, 0.15 * out, out * (1 + 0.3 * rng.standard_normal(theta.size)))
    return out


def _pickup_v(
    unit: Cartridge,
    s: SpinSettings,
    speed: NDArray[np.float64],
    theta: NDArray[np.float64],
    rng: np.random.Generator,
) -> NDArray[np.float64]:
    amplitude = s.pickup_v * speed / unit.size.test_speed_rpm
    noise = s.pickup_noise_v
    wave = np.sin(theta) + 0.06 * np.sin(2 * theta) + 0.03 * np.sin(3 * theta)
    if "two_poles" in s.faults:
        wave = 0.03 * np.sin(theta) + np.sin(2 * theta + 0.4)
    if "reversed_magnet" in s.faults:
        wave = -wave
    if "weak_magnet" in s.faults:
        amplitude = amplitude * 0.003
    if "lost_above" in s.faults:
        amplitude = np.where(speed > 0.7 * unit.size.test_speed_rpm, 0.0, amplitude)
    out = amplitude * wave
    if "dropped_marks" in s.faults:
        out *= _holes(theta, rng, share=0.004)
    out += _hum_v(s, theta.size, rng)
    out += noise * rng.standard_normal(theta.size)
    return out


def _hum_v(s: SpinSettings, size: int, rng: np.random.Generator) -> NDArray[np.float64]:
    hum = s.hum_v * (20.0 if "hum" in s.faults else 1.0)
    t = np.arange(size) / s.sample_rate_hz
    phase = rng.uniform(0, 2 * np.pi)
    return np.asarray(
        hum * np.sin(2 * np.pi * 50 * t + phase) + 0.2 * hum * np.sin(2 * np.pi * 150 * t)
    )


def stand(seed: int, seconds: float, settings: SpinSettings | None = None) -> NDArray[np.float32]:
    """Return what the channels deliver while the rotor stands, (n, 2), shares of `FULL_SCALE_V`."""
    s = settings or SpinSettings()
    rng = np.random.default_rng([seed, 7])
    n = round(seconds * s.sample_rate_hz)
    housing = 0.25 * s.noise_g * SENSITIVITY_V_PER_G * rng.standard_normal(n)
    if "sensor_dead" in s.faults:
        housing[:] = 0.0
    pickup = _hum_v(s, n, rng) + s.pickup_noise_v * rng.standard_normal(n)
    return (np.stack([housing, pickup], axis=1) / FULL_SCALE_V).astype(np.float32)


def _holes(
    theta: NDArray[np.float64], rng: np.random.Generator, *, share: float
) -> NDArray[np.float64]:
    turn = (theta / (2 * np.pi)).astype(np.int64)
    lost = rng.random(int(turn[-1]) + 2) < share
    return np.where(lost[turn], 0.05, 1.0)
