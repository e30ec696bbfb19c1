"""Recordings for the benchmarks, made once in a temporary folder."""

from __future__ import annotations

import json

import numpy as np
import soundfile

SIDECAR = {
    "version": 1,
    "rotation": "clockwise",
    "channels": [
        {
            "name": "housing",
            "quantity": "acceleration",
            "unit": "V",
            "full_scale": 10.0,
            "sensitivity": {"value": 100.0, "unit": "mV/g"},
        },
        {
            "name": "pickup",
            "quantity": "phase",
            "kind": "magnetic",
            "unit": "V",
            "full_scale": 10.0,
        },
    ],
}
RATE = 102_400


def minute(seed=1):
    """60 s, two channels: standstill, up to 150,000 rpm in 30 s, hold, down."""
    t = np.arange(RATE * 60) / RATE
    hz = np.interp(t, [0, 5, 35, 40, 60], [5, 5, 2500, 2500, 10])
    theta = 2 * np.pi * np.cumsum(hz) / RATE
    share = hz / 2500
    rng = np.random.default_rng(seed)
    housing = share**2 * np.cos(theta - 1) + 0.2 * share * np.cos(2 * theta)
    housing += 0.02 * rng.standard_normal(t.size)
    pickup = share * np.sin(theta) + 0.005 * rng.standard_normal(t.size)
    return np.stack([housing / 4, pickup / 4], axis=1)


def write_flac(path, minutes=1):
    """Write a 24-bit FLAC of that many minutes with its sidecar."""
    block = minute()
    with soundfile.SoundFile(path, "w", RATE, 2, format="FLAC", subtype="PCM_24") as file:
        for _ in range(minutes):
            file.write(block)
    path.with_suffix(".json").write_text(json.dumps(SIDECAR))
    return path
