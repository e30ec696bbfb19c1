"""The accuracy table: run-ups with known vectors over a grid. `make accuracy` prints it."""

from typing import Any

import numpy as np
import pytest
from conftest import analytic_run_up
from rich.console import Console
from rich.table import Table

from heavyspot.signal.curve import read_curves
from heavyspot.signal.tracker import Tracker

GRID: list[dict[str, Any]] = [
    {},
    {"acceleration_rpm_s": 5_000.0},
    {"acceleration_rpm_s": 2_500.0},
    {"snr_db": 40.0},
    {"snr_db": 20.0},
    {"others": {0.5: 0.2, 2.0: 0.3, 3.0: 0.2}},
    {"others": {0.42: 0.3}},
    {"others": {0.9: 0.05, 1.1: 0.05}},
    {"sample_rate_hz": 51_200.0},
    {"sample_rate_hz": 204_800.0},
    {"sample_rate_hz": 48_000.0},
    {"sample_rate_hz": 204_800.0, "top_rpm": 300_000.0, "acceleration_rpm_s": 30_000.0},
]


@pytest.mark.prove
def test_accuracy_over_the_grid():
    table = Table(
        "run-up", "amplitude % median", "99 %", "worst", "mean", "angle ° median", "99 %", "worst",
        "mean", title="Errors from 10 % to 100 % of the top speed, 6 seeds each",
    )  # fmt: skip
    for settings in GRID:
        amplitude, angle = [], []
        for seed in range(6):
            signal = analytic_run_up(**settings, seed=seed)
            tracker = Tracker(
                sample_rate_hz=signal.sample_rate_hz, phase_channel=1, vibration_channels=(0,)
            )
            tracker.feed(signal.data)
            curve = read_curves(tracker.finish()).curves[0]
            chosen = curve.speed_rpm >= 0.1 * curve.speed_rpm.max()
            ratio = curve.vector[0, chosen] / signal.vector(curve.speed_rpm[chosen])
            amplitude.append(100 * (np.abs(ratio) - 1))
            angle.append(np.rad2deg(np.angle(ratio)))
        a, b = np.concatenate(amplitude), np.concatenate(angle)
        name = (
            ", ".join(f"{k} {v}" for k, v in settings.items()) or "15,000 rpm/s, 30 dB, 102.4 kS/s"
        )
        cells = []
        for e in (a, b):
            cells += [f"{q:.3f}" for q in np.percentile(np.abs(e), [50, 99, 100])]
            cells.append(f"{e.mean():+.4f}")
        table.add_row(name, *cells)
        if 0.9 in settings.get("others", {}):
            continue  # a tenth of an order away is inside a window of 14 turns: shown, not promised
        if settings.get("snr_db", 30.0) >= 30:
            assert np.abs(a).max() < 0.5, name
            assert np.abs(b).max() < 0.5, name
        assert abs(a.mean()) < 0.03 and abs(b.mean()) < 0.03, name
    Console(width=130).print(table)
