"""Live load and latency: `python -m benchmarks.live`, part of ``make bench``."""

from __future__ import annotations

import statistics
import tempfile
import time
from pathlib import Path

import numpy as np
from rich.console import Console
from rich.table import Table

from heavyspot.quantities.angles import Rotation
from heavyspot.signal.mark.reference import ReferenceSettings
from heavyspot.sources.live import Description, ReplayLive
from heavyspot.sources.recording import Channel, from_array
from heavyspot.workshop.bench.capture import Capture
from heavyspot.workshop.taking.disk_first import About

SECONDS, RATE = 60, 204_800


def recording():
    """60 s of three accelerometers and a pickup at 204.8 kS/s."""
    t = np.arange(SECONDS * RATE, dtype=np.float64) / RATE
    hz = np.interp(t, [0, 3, 33, 45, 60], [5, 5, 2500, 2500, 60])
    theta = 2 * np.pi * np.cumsum(hz) / RATE
    share = (hz / 2500).astype(np.float32)
    data = np.empty((t.size, 4), np.float32)
    for k in range(3):
        data[:, k] = 0.1 * share**2 * np.cos(theta - k)
    data[:, 3] = 0.3 * share * np.sin(theta)
    data += np.random.default_rng(0).normal(0, 1e-3, data.shape).astype(np.float32)
    rotation: Rotation = "clockwise"
    channels = (
        *(Channel(f"housing {k + 1}", "acceleration", "g", 10.0) for k in range(3)),
        Channel("pickup", "phase", "V", 10.0, reference=ReferenceSettings()),
    )
    return from_array(data, channels=channels, sample_rate_hz=RATE, rotation=rotation)


def main() -> None:
    made = recording()
    ages = []
    with tempfile.TemporaryDirectory() as folder:
        capture = Capture(ReplayLive(made), Path(folder), About("bench"))
        assert isinstance(capture.description, Description)
        cpu, wall = time.process_time(), time.monotonic()
        capture.start()
        number = 0
        while not capture.finished.is_set():
            shot = capture.wait_for(number, 1.0)
            if shot.number > number:
                number = shot.number
                ages.append(1e3 * (time.monotonic() - shot.sampled_at_s))
        capture.join()
        cpu, wall = time.process_time() - cpu, time.monotonic() - wall
        written = sum(b.data.shape[0] for b in capture.recording().blocks())
    table = Table(
        "what", "measured", "asked", title="Live: 4 channels, 204.8 kS/s, 60 s, to disk and tracked"
    )
    table.add_row("processor time over real time", f"{cpu / wall:.2f} of a core", "< 0.5")
    table.add_row("samples lost", str(SECONDS * RATE - written), "0")
    table.add_row("snapshots a second", f"{len(ages) / wall:.1f}", ">= 10")
    table.add_row("newest sample to snapshot, median", f"{statistics.median(ages):.0f} ms", "")
    table.add_row("newest sample to snapshot, 99 %", f"{np.percentile(ages, 99):.0f} ms", "")
    Console(width=110, highlight=False).print(table)


if __name__ == "__main__":
    main()
