"""Does the stated uncertainty keep its word: errors against a truth known here, on rigs of many kinds.

Noise is constant over speed, as a sensor's is. The signals share no code with the program or its simulator.
"""

from dataclasses import dataclass
from typing import Literal

import numpy as np
import pytest
from rich.console import Console
from rich.table import Table

from heavyspot.signal.curve import read_curves
from heavyspot.signal.mark.reference import ReferenceSettings
from heavyspot.signal.tracker import Tracker

K = 1.96


@dataclass(frozen=True)
class Spin:
    """What a run-up is like; sizes in g, speeds in rpm."""

    rate: float = 51_200.0
    top: float = 150_000.0
    seconds: float = 8.0
    q: float = 8.0
    peak_g: float = 0.8
    noise_g: float = 0.02
    kind: Literal["magnetic", "pulse"] = "magnetic"
    pickup_noise: float = 0.01
    edge: float = 0.03
    bits: int = 0
    full_g: float = 50.0
    hunting: float = 0.0

    def errors(self, seed):
        """Return errors of amplitude and angle (as g across) over their stated standard uncertainty."""
        rng = np.random.default_rng(seed)
        t = np.arange(int(self.rate * (self.seconds + 0.8))) / self.rate
        x = np.minimum(t / self.seconds, 1.0)
        ease = rng.uniform(0.2, 0.6)
        share = (1 - ease) * x + ease * x**2 * (3 - 2 * x)
        if self.hunting:
            swing = np.sin(2 * np.pi * rng.uniform(1, 3) * t + rng.uniform(0, 6))
            share = np.clip(share * (1 + self.hunting * swing), 0, 1.02)
        theta = 2 * np.pi * np.cumsum(share * self.top / 60) / self.rate + rng.uniform(0, 6.28)
        grid = np.linspace(0, 1.03, 20_001)
        v = self._shape(grid)
        factor = self.peak_g / np.abs(v).max()
        housing = np.interp(share, grid, v.real) * np.cos(theta)
        housing += np.interp(share, grid, v.imag) * np.sin(theta)
        housing *= factor
        for order, size in ((2, 0.02), (3, 0.015)):
            housing += size * share**2 * np.cos(order * theta + rng.uniform(0, 6))
        housing += self.noise_g * rng.standard_normal(t.size)
        step = self.full_g / 2 ** (self.bits - 1) if self.bits else 0.0
        if step:
            housing = np.round(housing / step) * step
        pickup = self._pickup(theta, share) + self.pickup_noise * rng.standard_normal(t.size)
        tracker = Tracker(
            sample_rate_hz=self.rate,
            phase_channel=1,
            vibration_channels=(0,),
            reference=ReferenceSettings(kind=self.kind),
        )
        tracker.feed(np.stack([housing, pickup], axis=1).astype(np.float32))
        curve = read_curves(tracker.finish(), step=np.array([step])).curves[0]
        chosen = curve.speed_rpm >= 0.15 * self.top
        found, u = curve.vector[0, chosen], curve.noise[0, chosen]
        true = factor * self._shape(curve.speed_rpm[chosen] / self.top)
        off = (found - true) * np.exp(-1j * np.angle(true))
        # a constant turn of the mark is the same in every run, and no uncertainty between them
        across = off.imag - np.median(off.imag / np.abs(true)) * np.abs(true)
        u_across = np.hypot(u, np.abs(found) * curve.angle_noise[0, chosen])
        return (np.abs(found) - np.abs(true)) / u, across / u_across

    def _shape(self, share):
        r = share / 0.6
        return share**2 * (0.3 + 1 / (1 - r**2 - 1j * r / self.q)) * np.exp(0.7j)

    def _pickup(self, theta, share):
        if self.kind == "magnetic":
            return share * np.sin(theta)
        turn = theta / (2 * np.pi) - 0.075
        return 0.5 * (1 - np.tanh((np.abs(turn - np.rint(turn)) - 0.075) / self.edge))


SPINS = {
    "magnetic": Spin(),
    "magnetic, quiet sensor": Spin(noise_g=0.002),
    "magnetic, noisy sensor": Spin(noise_g=0.06),
    "magnetic, noisy pickup": Spin(pickup_noise=0.05),
    "pulse": Spin(kind="pulse", rate=102_400.0),
    "pulse, quiet sensor": Spin(kind="pulse", noise_g=0.002, rate=102_400.0),
    "16 bits of 50 g": Spin(bits=16, noise_g=0.001),
    "16 bits of 100 g, 0.05 g": Spin(bits=16, full_g=100.0, noise_g=0.0002, peak_g=0.05),
    "slow, 10,000 rpm": Spin(top=10_000.0, seconds=20.0, noise_g=0.01),
    "Q 60, 5 s": Spin(q=60.0, seconds=5.0, noise_g=0.005),
    "Q 60, 12 s": Spin(q=60.0, seconds=12.0, noise_g=0.005),
    "hunting by 3 %": Spin(hunting=0.03),
}


SHORT = {
    "slow, 3000 rpm": Spin(top=3000.0, seconds=40.0, rate=10_240.0, noise_g=0.005),
    "slow, 5000 rpm": Spin(top=5000.0, seconds=30.0, rate=25_600.0, noise_g=0.005),
}
"""Where it is known to fall short, on the steep sides of a resonance: a turn is longer than the smoothing of the
edges, and the level they are taken at wanders with the turn. Shown; rotors so slow are measured at one speed."""


def covered(spin, seeds):
    """Return the shares of amplitudes and angles within the stated 95 %."""
    amplitude, angle = (np.concatenate(e) for e in zip(*map(spin.errors, seeds), strict=True))
    return float(np.mean(np.abs(amplitude) <= K)), float(np.mean(np.abs(angle) <= K))


@pytest.mark.parametrize(
    "name", ["magnetic", "pulse", "16 bits of 100 g, 0.05 g", "hunting by 3 %"]
)
def test_the_stated_95_percent_hold(name):
    amplitude, angle = covered(SPINS[name], range(4))
    assert 0.92 < amplitude < 0.985  # 1200 points that share noise: two per cent either way
    assert angle > 0.91


@pytest.mark.prove
def test_coverage_over_rigs_of_many_kinds():
    table = Table("rig", "amplitude", "angle", title="Share within the stated 95 %, 24 seeds each")
    out = []
    for name, spin in (SPINS | SHORT).items():
        amplitude, angle = covered(spin, range(100, 124))
        table.add_row(name, f"{100 * amplitude:.1f} %", f"{100 * angle:.1f} %")
        if name in SPINS and not (0.93 <= amplitude <= 0.97 and 0.93 <= angle <= 0.97):
            out.append((name, amplitude, angle))
    Console(width=90).print(table)
    assert not out
