"""A digitiser that does not exist, as a driver of somebody's own: it counts by its own clock, has a small buffer,
and loses what is not fetched in time, as a real one does. What it would deliver is known to the last bit.
"""

from __future__ import annotations

import sys
import time
from functools import cache
from pathlib import Path

import numpy as np

from heavyspot.quantities.errors import SourceLost
from heavyspot.sim.cartridge import SIZES, make_cartridge
from heavyspot.sim.spin import SpinSettings, spin, stand
from heavyspot.sources.live import BLOCK_S, LiveBlock

BUFFER_S = 0.25
"""What the device keeps while nobody fetches."""

STEPS = 2.0**23
"""Of a 24-bit converter."""

DIST = """Metadata-Version: 2.1
Name: fake-digitiser
Version: 1
"""


@cache
def emitted(seed: int, rate_hz: float = 51_200.0, stands_s: float = 0.0) -> np.ndarray:
    """Return what a device delivers, (n, 2), float32, each value a step of its converter.

    The rotor stands for `stands_s` before and as long after its spin.
    """
    made = spin(
        make_cartridge(SIZES["Larch 52"], seed, peak_g=1.5), seed,
        SpinSettings(sample_rate_hz=rate_hz, run_up_s=4.0, hold_s=0.4, coast_s=1.5),
    )  # fmt: skip
    rest = stand(seed, stands_s, SpinSettings(sample_rate_hz=rate_hz))
    whole = np.concatenate([rest, made.samples, rest]) if stands_s else made.samples
    steps: np.ndarray = (np.round(whole.astype(float) * STEPS) / STEPS).astype(np.float32)
    return steps


class FakeDigitiser:
    """Its settings: ``seed`` of what it delivers, ``stands_s`` for how long it stands first; ``gone``: unplugged
    while that file is there; ``spins``: how many it makes, counted in the file ``counter``, each of the next
    seed, and then it stands; ``pace``: times real time.
    """

    def __init__(self, rig):
        self.rig, self.running = rig, False

    def describe(self):
        return self.rig.description()

    def open(self):
        if Path(str(self.rig.settings.get("gone", "/nowhere"))).exists():
            raise SourceLost("The digitiser is not there.", remedy="Plug it in.")
        settings, rate = self.rig.settings, self.rig.sample_rate_hz
        seed, stands_s = int(settings["seed"]), float(settings.get("stands_s", 0.0))
        self.counter = Path(str(settings.get("counter", "")))
        done = len(self.counter.read_text()) if self.counter.is_file() else 0
        self.stands = round(stands_s * rate)
        if done < int(settings.get("spins", 1_000_000)):
            self.samples = emitted(seed + done, rate, stands_s)
        else:
            self.samples = np.tile(emitted(seed, rate, stands_s)[: self.stands], (100, 1))
            self.stands = len(self.samples)
        self.running = True

    def blocks(self):
        rate, at = self.rig.sample_rate_hz, 0
        begun, pace = time.monotonic(), float(self.rig.settings.get("pace", 1.0))
        while self.running and at < len(self.samples):
            time.sleep(BLOCK_S / 2)
            there = min(int((time.monotonic() - begun) * pace * rate), len(self.samples))
            lost = max(0, there - at - int(BUFFER_S * pace * rate))
            at += lost
            if there > at:
                yield LiveBlock(at, self.samples[at:there], time.monotonic(), lost)
                if at <= self.stands < there and self.counter.name:
                    with self.counter.open("a") as file:
                        file.write("x")
                at = there

    def close(self):
        self.running = False


def installed(folder: Path) -> Path:
    """Install it into a folder as a package with its entry point; returns the folder, to be put on the path."""
    info = folder / "fake_digitiser-1.dist-info"
    info.mkdir(parents=True, exist_ok=True)
    (info / "METADATA").write_text(DIST)
    (info / "entry_points.txt").write_text(
        "[heavyspot.live]\nfake digitiser = fake_digitiser:FakeDigitiser\n"
    )
    (folder / "fake_digitiser.py").write_text(Path(__file__).read_text())
    return folder


def rig_text(name: str, seed: int, device: str = "", **settings: object) -> str:
    """Return a rig file of such a device."""
    more = "".join(f"{k} = {str(v)!r}\n".replace("'", '"') for k, v in settings.items())
    return f"""
name = "{name}"
driver = "fake digitiser"
device = "{device or seed}"
sample_rate_hz = 51200
rotation = "clockwise"
[settings]
seed = {seed}
{more}
[[channel]]
name = "housing"
quantity = "acceleration"
unit = "V"
full_scale = 10.0
sensitivity = {{value = 100.0, unit = "mV/g"}}
[[channel]]
name = "pickup"
quantity = "phase"
unit = "V"
full_scale = 10.0
"""


def on_the_path(folder: Path, monkeypatch) -> None:
    """Let this process and those it starts find it."""
    monkeypatch.syspath_prepend(str(installed(folder)))
    assert str(folder) in sys.path
