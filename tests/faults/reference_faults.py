"""Faults of the phase reference and of the file: each takes a healthy spin and a size from 0 to 1."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
from faults.sensor_faults import between
from faults.turbo import pickup_noise, pulses


def _magnetic(take, wave, rng, volts=1.5, hum_v=None, noise_v=None):
    signal = volts * take.share * wave + pickup_noise(
        take.theta.size, rng, take.rate_hz, hum_v, noise_v
    )
    return replace(take, pickup_v=signal, kind="magnetic")


def _pulsed(take, wave, rng, volts=4.0):
    signal = volts * wave + pickup_noise(take.theta.size, rng, take.rate_hz)
    return replace(take, pickup_v=signal, kind="pulse")


def two_poles(take, size, rng):
    own = between(0.06, 0.01, size)
    wave = own * np.sin(take.theta) + np.sin(2 * take.theta + rng.uniform(0, 6))
    return _magnetic(take, wave, rng)


def weak_magnet(take, size, rng):
    volts = 1.5 / between(25, 400, size)
    return _magnetic(take, np.sin(take.theta), rng, volts=volts, hum_v=0.008, noise_v=0.006)


def no_magnet(take, size, rng):
    return _magnetic(take, 0 * take.theta, rng, hum_v=1e-4, noise_v=between(0.002, 0.05, size))


def hum_only(take, size, rng):
    return _magnetic(take, 0 * take.theta, rng, hum_v=between(0.01, 0.5, size))


def hum(take, size, rng):
    return _magnetic(take, np.sin(take.theta), rng, hum_v=between(0.1, 0.25, size))


def lost_at_speed(take, size, rng):
    """The mark is lost above a part of the speed; 105,000 of 150,000 rpm is 70 %."""
    there = take.share < 0.85 - 0.25 * size
    if take.kind == "pulse":
        return _pulsed(take, np.where(there, pulses(take.theta, take.duty), 0.0), rng)
    return _magnetic(take, np.where(there, np.sin(take.theta), 0.0), rng)


def pulse_upside_down(take, size, rng):
    duty = between(0.44, 0.05, size)
    return _pulsed(take, 1 - pulses(take.theta, duty), rng)


def _second_half(take, rng):
    return take.time_s > rng.uniform(0.4, 0.6) * take.time_s[np.argmax(take.share)]


def flips_midway(take, size, rng):
    return replace(
        take, kind="magnetic",
        pickup_v=_magnetic(take, np.sin(take.theta), rng).pickup_v * np.where(_second_half(take, rng), -1, 1),
    )  # fmt: skip


def pulse_flips_midway(take, size, rng):
    wave = pulses(take.theta, between(0.4, 0.08, size))
    return _pulsed(take, np.where(_second_half(take, rng), 1 - wave, wave), rng)


def doublets(take, size, rng):
    """A small magnet gives a sharp up and down once a turn; declared as a magnetised nut."""
    width = between(0.06, 0.02, size)
    turn = take.theta / (2 * np.pi)
    off = (turn - np.rint(turn)) / width
    return _magnetic(take, off * np.exp(0.5 - off**2 / 2), rng, volts=3.0)


def pulse_called_magnetic(take, size, rng):
    out = _pulsed(take, pulses(take.theta, between(0.25, 0.05, size)), rng)
    return replace(out, declared={"kind": "magnetic"})


def magnetic_called_pulse(take, size, rng):
    out = _magnetic(take, np.sin(take.theta), rng)
    return replace(out, declared={"kind": "pulse"})


def strong_harmonics(take, size, rng):
    """Far from a sine, but the same in every turn: the mark is clear."""
    more = between(0.35, 0.75, size)
    wave = np.sin(take.theta) + more * np.sin(2 * take.theta + rng.uniform(0, 6))
    wave += 0.5 * more * np.sin(3 * take.theta + rng.uniform(0, 6))
    return _magnetic(take, wave, rng)


def _turns_lost(take, lost, rng):
    gone = lost[
        np.minimum(
            (take.theta / (2 * np.pi)).astype(int) - int(take.theta[0] / (2 * np.pi)), lost.size - 1
        )
    ]
    if take.kind == "pulse":
        return _pulsed(take, np.where(gone, 0.0, pulses(take.theta, take.duty)), rng)
    return _magnetic(take, np.where(gone, 0.03, 1.0) * np.sin(take.theta), rng)


def _turns(take):
    return int((take.theta[-1] - take.theta[0]) / (2 * np.pi)) + 2


def misses_single_turns(take, size, rng):
    return _turns_lost(take, rng.random(_turns(take)) < between(0.004, 0.03, size), rng)


def misses_in_bursts(take, size, rng):
    """For tenths of a second only every so many turns give a mark."""
    n = _turns(take)
    turn_at = np.interp(np.arange(0, take.time_s[-1], 0.01), take.time_s, take.theta / (2 * np.pi))
    turn_at = (turn_at - turn_at[0]).astype(int)
    lost = np.zeros(n, bool)
    share, every = between(0.08, 0.4, size), int(rng.integers(2, 6))
    k = 0
    while k < turn_at.size - 1:
        span = int(rng.integers(10, 40))
        if rng.random() < share:
            a, b = turn_at[k], turn_at[min(k + span, turn_at.size - 1)]
            lost[a:b] = np.arange(a, b) % every != 0
        k += span
    return _turns_lost(take, lost, rng)


def two_marks(take, size, rng):
    """A second, like mark on the rotor: two pulses a turn where one is declared."""
    at = rng.uniform(0.25, 0.45)
    wave = pulses(take.theta, 0.06) + between(0.8, 1.0, size) * pulses(take.theta, 0.06, at=at)
    return _pulsed(take, wave, rng)


def scratches(take, size, rng):
    """A scratch that passes as a mark in some of the turns."""
    turn = (take.theta / (2 * np.pi)).astype(int)
    seen = (rng.random(turn.max() + 2) < between(0.02, 0.2, size))[turn]
    wave = pulses(take.theta, 0.08) + np.where(seen, pulses(take.theta, 0.06, at=0.4), 0.0)
    return _pulsed(take, np.minimum(wave, 1.0), rng)


def swapped_magnetic(take, size, rng):
    out = _magnetic(take, np.sin(take.theta), rng)
    return replace(out, declared={"swapped": True})


def swapped_pulse(take, size, rng):
    out = _pulsed(take, pulses(take.theta, between(0.1, 0.4, size)), rng)
    return replace(out, declared={"swapped": True})


def wrong_rate(take, size, rng):
    """Header and description agree on a rate that is not the converter's."""
    told = rng.choice([50_000.0, 48_000.0, 44_100.0, 25_600.0, 102_400.0])
    return replace(take, declared={"rate_hz": float(told)})


def reversed_leads(take, size, rng):
    """Against the run before: the pickup's leads are the other way round."""
    return replace(take, pickup_v=-take.pickup_v)
