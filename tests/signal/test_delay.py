"""Delay between channels: against filters of scipy and delays made in the frequency domain."""

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from scipy.signal import butter, lfilter

from heavyspot.quantities.errors import SignalTooPoor
from heavyspot.signal.delay import delay_between

RATE = 102_400.0


def late(x, seconds):
    """Delay by a whole or broken number of samples, exactly (periodic)."""
    hz = np.fft.rfftfreq(x.size, 1 / RATE)
    return np.fft.irfft(np.fft.rfft(x) * np.exp(-2j * np.pi * hz * seconds), x.size)


def noise(seed, n=2**17, *, top_hz=20_000.0):
    x = np.random.default_rng(seed).standard_normal(n)
    return lfilter(*butter(4, top_hz, fs=RATE), x)


@given(st.integers(0, 99), st.floats(-9e-4, 9e-4), st.booleans())
def test_a_delay_is_found_to_a_fraction_of_a_microsecond(seed, seconds, turned):
    x = noise(seed)
    y = (-0.3 if turned else 0.3) * late(x, seconds)
    rng = np.random.default_rng(seed + 1000)
    y = y + 0.01 * y.std() * rng.standard_normal(y.size)
    found = delay_between(x, y, sample_rate_hz=RATE)
    assert found.delay_s == pytest.approx(seconds, abs=3e-7)
    assert found.reversed == turned


@pytest.mark.parametrize("corner", [8.0, 40.0, 160.0])
def test_an_ac_coupled_pickup_is_told_from_a_delay(corner):
    """`butter(1, ..., "high")` is the RC coupling; at 40 Hz it leads by 22 degrees at 6,000 rpm."""
    x = noise(1)
    coupled = lfilter(*butter(1, corner, "high", fs=RATE), x)
    found = delay_between(coupled, late(x, 2e-5), sample_rate_hz=RATE)
    assert found.delay_s == pytest.approx(2e-5, abs=3e-7)
    assert found.high_pass_hz == pytest.approx(corner, rel=0.05, abs=1.0)


def test_its_uncertainty_is_the_scatter_of_its_repeats():
    x, got = noise(3), []
    for seed in range(60):
        y = late(x, 1e-5)
        y += 0.1 * y.std() * np.random.default_rng(500 + seed).standard_normal(y.size)
        got.append(delay_between(x, y, sample_rate_hz=RATE))
    spread = np.std([d.delay_s for d in got])
    stated = np.mean([d.standard_s for d in got])
    assert 0.5 < stated / spread < 2.0


def test_what_has_no_common_signal_or_is_a_tone_has_no_delay():
    t = np.arange(2**17) / RATE
    for x, y in (
        (noise(1), noise(2)),
        (np.sin(2e3 * t), np.sin(2e3 * t - 0.3)),
        (noise(1)[:9000], noise(1)[:9000]),
        (np.zeros(2**17), np.zeros(2**17)),
    ):
        with pytest.raises(SignalTooPoor):
            delay_between(x, y, sample_rate_hz=RATE)
