"""The mains as a clock: recordings whose stated rate is not the converter's, made with numpy alone.

Grids of 50 and 60 Hz: common practice, no source. Signals are sums of sines whose frequencies are put in.
"""

import numpy as np
import pytest

from heavyspot.signal.curve import read_curves
from heavyspot.signal.mark.mains import rate_findings
from heavyspot.signal.tracker import Tracker

TRUE_HZ = 51_200.0
TOP_HZ, LASTS_S = 2_000.0, 6.0


def recorded(told_hz, tones, *, standing_s=0.0, magnet_v=1.0, seed=5):
    """A run-up to 120,000 rpm without a standstill, or with one, and steady tones (Hz, V) on the pickup."""
    t = np.arange(round((standing_s + LASTS_S) * TRUE_HZ)) / TRUE_HZ
    turning = np.clip(t - standing_s, 0, None)
    hz = np.minimum(200 + 500 * turning, TOP_HZ) * (t >= standing_s)
    theta = 2 * np.pi * np.cumsum(hz) / TRUE_HZ
    rng = np.random.default_rng(seed)
    pickup = magnet_v * hz / TOP_HZ * np.sin(theta) + 0.002 * rng.standard_normal(t.size)
    for tone_hz, volts in tones:
        pickup += volts * np.sin(2 * np.pi * tone_hz * t)
    housing = 0.3 * hz / TOP_HZ * np.cos(theta - 1) + 0.01 * rng.standard_normal(t.size)
    tracker = Tracker(sample_rate_hz=told_hz, phase_channel=1, vibration_channels=(0,))
    tracker.feed(np.stack([housing, pickup], axis=1).astype(np.float32))
    track = tracker.finish()
    return rate_findings(track, read_curves(track).blocks)


@pytest.mark.parametrize("standing_s", [0.0, 1.5])
@pytest.mark.parametrize("grid_hz", [50.0, 60.0])
@pytest.mark.parametrize("told_hz", [25_600.0, 44_100.0, 48_000.0, 50_000.0])
def test_a_wrong_rate_is_named_and_the_likely_one_told(grid_hz, told_hz, standing_s):
    (found,) = recorded(told_hz, [(grid_hz, 0.008)], standing_s=standing_s)
    assert found.code == "recording.rate" and found.severity == "block"
    assert found.evidence["line_hz"] == pytest.approx(grid_hz * told_hz / TRUE_HZ, rel=0.005)
    assert told_hz / found.evidence["factor"] == pytest.approx(TRUE_HZ, rel=0.006)


@pytest.mark.parametrize("standing_s", [0.0, 1.5])
@pytest.mark.parametrize("tones", [[], [(50.0, 0.008)], [(60.0, 0.008)], [(50.0, 0.0005)]])
def test_a_right_rate_is_left_alone(tones, standing_s):
    assert recorded(TRUE_HZ, tones, standing_s=standing_s) == []


def test_a_tone_beside_the_grid_s_own_line_is_of_something_else():
    assert recorded(TRUE_HZ, [(50.0, 0.008), (37.0, 0.02)]) == []


def test_a_line_that_moves_is_no_mains():
    """A second wave that sweeps through the mains' range is a shaft nearby, not a clock."""
    t = np.arange(round(LASTS_S * TRUE_HZ)) / TRUE_HZ
    sweep = 0.02 * np.sin(2 * np.pi * (25 * t + 5 * t**2))
    theta = 2 * np.pi * 1_000 * t
    samples = np.stack([0.3 * np.cos(theta), np.sin(theta) + sweep], axis=1)
    tracker = Tracker(sample_rate_hz=TRUE_HZ, phase_channel=1, vibration_channels=(0,))
    tracker.feed(samples.astype(np.float32))
    track = tracker.finish()
    assert rate_findings(track, read_curves(track).blocks) == []
