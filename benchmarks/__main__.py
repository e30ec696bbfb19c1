"""Print the tables. One core where the system lets us choose."""

from __future__ import annotations

import os
import platform
import subprocess
import sys
import tempfile
import time
from contextlib import contextmanager
from pathlib import Path
from statistics import median

for name in ("OMP_NUM_THREADS", "OPENBLAS_NUM_THREADS"):
    os.environ.setdefault(name, "1")

import numpy as np
import soundfile
from rich.console import Console
from rich.table import Table

from benchmarks import learning
from benchmarks.plain import every_pair, plain_reading, relaxed_with_cvxpy
from benchmarks.signals import write_flac
from heavyspot import open_recording, read_recording
from heavyspot.balance.cut.minmax import best_cuts
from heavyspot.workshop.model.model_file import parse_model
from heavyspot.workshop.reading.judging import judge_curves

ALL_CORES = os.sched_getaffinity(0) if hasattr(os, "sched_setaffinity") else set()
OUT = Console(highlight=False, width=110)


def timed(function, repeat=5):
    """Median wall time, s, after one warm-up."""
    function()
    times = []
    for _ in range(repeat):
        start = time.perf_counter()
        function()
        times.append(time.perf_counter() - start)
    return median(times)


@contextmanager
def all_cores():
    """Let go of the one core for a while: so a user's computer reads."""
    if not hasattr(os, "sched_setaffinity"):
        yield
        return
    one = os.sched_getaffinity(0)
    os.sched_setaffinity(0, ALL_CORES)
    try:
        yield
    finally:
        os.sched_setaffinity(0, one)


def processor():
    try:
        for line in Path("/proc/cpuinfo").read_text().splitlines():
            if line.startswith("model name"):
                return line.split(":", 1)[1].strip()
    except OSError:
        pass
    return platform.processor()


def show(title, rows):
    table = Table("what", "median", "against", "ratio", "asked", title=title, title_justify="left")
    for row in rows:
        table.add_row(*row)
    OUT.print(table)


def reading(folder):
    path = write_flac(folder / "minute.flac")
    model = parse_model(
        {
            "name": "bench", "rotation": "clockwise", "rated_speed_rpm": 160_000,
            "test_speed_rpm": 150_000, "plane": [{"name": "nut", "radius_mm": 6}],
        },
        name="bench",
    )  # fmt: skip

    def decode():
        with soundfile.SoundFile(path) as file:
            for _ in file.blocks(262_144, dtype="float32", always_2d=True):
                pass

    def full():
        result = read_recording(open_recording(path))
        assert judge_curves(result.curves, model, result.channels, first=True) is not None

    data, _ = soundfile.read(path, dtype="float32")

    def plain():
        plain_reading(data[:, 0], data[:, 1], 102_400)

    t_decode, t_full = timed(decode), timed(full)
    with all_cores():
        t_ahead = timed(full)
    t_plain = timed(plain, repeat=2)
    ours = t_full - t_decode
    show(
        "Reading 60 s, 2 channels, 102.4 kS/s, 24-bit FLAC",
        [
            ("decode with soundfile", f"{1e3 * t_decode:.0f} ms", "", "1", ""),
            ("what a user gets: curves, findings, spectra, verdict", f"{1e3 * t_full:.0f} ms", "decode",
             f"{t_full / t_decode:.2f}", "<= 2"),
            ("  the same, decoded on a second core while it is read", f"{1e3 * t_ahead:.0f} ms", "decode",
             f"{t_ahead / t_decode:.2f}", "<= 2"),
            ("  processing alone", f"{1e3 * ours:.0f} ms", "decode", f"{ours / t_decode:.2f}", "<= 1"),
            ("plain: cubic resampling and FFT", f"{1e3 * t_plain:.0f} ms", "processing",
             f"{t_plain / ours:.1f} x slower", ">= 8 x"),
        ],
    )  # fmt: skip


# VmHWM, not ru_maxrss: the latter is inherited from the parent through fork
CHILD = """
import pathlib, sys
from heavyspot import open_recording, read_recording
read_recording(open_recording(sys.argv[1]))
status = pathlib.Path("/proc/self/status").read_text()
print(next(line.split()[1] for line in status.splitlines() if line.startswith("VmHWM")))
"""


def memory(folder):
    rows = []
    for minutes, asked in ((1, "<= 4 x samples"), (30, "< 300 MB")):
        path = write_flac(folder / f"m{minutes}.flac", minutes)
        done = subprocess.run(
            [sys.executable, "-c", CHILD, str(path)], capture_output=True, text=True, check=True
        )
        peak = int(done.stdout) / 1024
        samples = 60 * minutes * 102_400 * 2 * 4 / 2**20
        rows.append(
            (f"reading {minutes} min, whole process", f"{peak:.0f} MB", "decoded float32",
             f"{peak / samples:.2f}", asked)
        )  # fmt: skip
        path.unlink()
    show("Peak memory", rows)


def advice():
    rng = np.random.default_rng(0)
    angles = np.arange(0.0, 360.0, 10.0)
    ours, cv, brute, over = [], [], [], []
    for k in range(24):
        n = 200
        s = np.linspace(0.1, 1, n)
        r = s / 0.7
        H = np.asarray(8 * s**2 * (0.4 + 1 / (1 - r**2 + 0.3j * r)), complex)
        V = H * 0.3 * rng.rayleigh() * np.exp(1j * rng.uniform(0, 6))
        for j in range(4):
            V = V + 0.4 * rng.normal() * np.exp(1j * rng.uniform(0, 6)) * s**2 * np.exp(1j * j * s)
        limit = np.full(n, 0.5)
        cap = rng.uniform(0.05, 0.5)
        budget = float(rng.choice([10.0, 1.3 * cap, 3 * cap]))
        best_cuts(V, H, limit, angles_deg=angles, cap=cap, budget=budget)
        start = time.perf_counter()
        got = best_cuts(V, H, limit, angles_deg=angles, cap=cap, budget=budget)
        ours.append(time.perf_counter() - start)
        start = time.perf_counter()
        relaxed_with_cvxpy(V, H, limit, angles, cap, budget)
        cv.append(time.perf_counter() - start)
        if k < 6:
            start = time.perf_counter()
            best = every_pair(V, H, limit, angles, cap, budget)
            brute.append(time.perf_counter() - start)
            over.append(got.level / best - 1)
    show(
        "Advice: 200 speeds, at most two of 36 angles, caps and budget",
        [
            ("ours, median", f"{1e3 * median(ours):.2f} ms", "", "", "< 5 ms"),
            ("ours, worst of 24", f"{1e3 * max(ours):.2f} ms", "", "", ""),
            ("cvxpy, all 36 amounts relaxed", f"{1e3 * median(cv):.1f} ms", "ours",
             f"{median(cv) / median(ours):.0f} x slower", ">= 20 x"),
            ("every pair on a grid", f"{1e3 * median(brute):.0f} ms", "ours",
             f"{median(brute) / median(ours):.0f} x slower", ">= 20 x"),
            ("objective over the best pair", f"{100 * max(over):+.3f} %", "every pair", "", "<= 0.1 %"),
        ],
    )  # fmt: skip


def main():
    if hasattr(os, "sched_setaffinity"):
        os.sched_setaffinity(0, {min(os.sched_getaffinity(0))})
    OUT.print(
        f"{processor()}, one core, Python {platform.python_version()}, numpy {np.__version__}"
    )
    with tempfile.TemporaryDirectory() as folder:
        reading(Path(folder))
        advice()
        show("Learning", learning.rows(Path(folder)))
        memory(Path(folder))


if __name__ == "__main__":
    main()
