"""Levels, lines and thinning on signals whose answer is known."""

import numpy as np
import pytest

from heavyspot.signal.levels import floor_of, robust_mean, unusual_level
from heavyspot.signal.spectrum import HalfBand, MapMaker, find_fixed_tones


def test_white_noise_has_the_density_it_was_made_with():
    """1 g rms over half of 25.6 kHz is 1/sqrt(12800) g per root hertz (definition of spectral density)."""
    maker = MapMaker(sample_rate_hz=25_600.0)
    maker.feed(np.random.default_rng(0).standard_normal(25_600 * 20).astype(np.float32))
    spectra = maker.finish()
    floor = floor_of(spectra, np.full(spectra.time_s.size, 90_000.0))
    assert floor == pytest.approx(1 / np.sqrt(12_800), rel=0.02)


def test_half_the_usual_level_is_unusual_and_a_tenth_off_is_not():
    before = 0.5e-3 * np.exp(0.08 * np.random.default_rng(1).standard_normal(12))
    found = unusual_level(0.25e-3, before)
    assert found is not None and found.factor == pytest.approx(0.5, rel=0.08)
    assert unusual_level(0.55e-3, before) is None
    assert unusual_level(0.25e-3, before[:4]) is None  # too few to know what is usual


@pytest.mark.parametrize("n", [6, 12, 40])
def test_the_robust_mean_is_hubers(n):
    """Against statsmodels' joint estimate of location and scale by Huber's proposal 2, same constant."""
    from statsmodels.robust.scale import Huber

    rng = np.random.default_rng(n)
    values = rng.normal(3.0, 0.4, n)
    values[0] = 9.0  # one that belongs to no such distribution
    location, scale = Huber(c=1.5, tol=1e-10, maxiter=500)(values)
    mean, spread = robust_mean(values)
    assert mean == pytest.approx(float(location), rel=2e-3)
    assert spread == pytest.approx(float(scale), rel=5e-3)


def test_twice_the_usual_level_of_the_quietest_of_units_that_scatter_is_unusual():
    """Seen on a rig of another make: floors of 3.9 to 5.5, and a quiet unit on a sensor of twice the gain."""
    before = np.array([4.94, 3.93, 5.13, 5.41, 4.22, 5.23, 4.86, 4.49, 5.48, 4.51]) * 1e-4
    found = unusual_level(8.0e-4, before)
    assert found is not None and found.factor > 1.6
    assert unusual_level(5.9e-4, before) is None


def test_thinning_by_halves_folds_nothing_onto_low_frequencies_in_any_chunking():
    rate = 102_400.0
    t = np.arange(40_960) / rate
    for hz in (49_000.0, 38_000.0):  # fold to 2.2 and 13.2 kHz when only every other sample is kept
        x = np.cos(2 * np.pi * hz * t).astype(np.float32)
        half = HalfBand()
        whole = half.feed(x)
        spectrum = np.abs(np.fft.rfft(whole[100:16_484] * np.hanning(16_384))) * 4 / 16_384
        f = np.fft.rfftfreq(16_384, 2 / rate)
        assert spectrum[f < 14_000].max() < 10 ** (-60 / 20)
    half = HalfBand()
    pieces = [half.feed(x[a:b]) for a, b in ((0, 7), (7, 1000), (1000, 1001), (1001, x.size))]
    assert np.allclose(np.concatenate(pieces), whole, atol=1e-6)


def test_a_tone_that_stays_is_no_whirl():
    rate = 25_600.0
    t = np.arange(int(rate * 8)) / rate
    maker = MapMaker(sample_rate_hz=rate)
    noise = 0.01 * np.random.default_rng(2).standard_normal(t.size)
    maker.feed((0.2 * np.sin(2 * np.pi * 900.0 * t) + noise).astype(np.float32))
    spectra = maker.finish()
    tones = find_fixed_tones(spectra, np.linspace(0, 150_000, spectra.time_s.size))
    assert tones[0].frequency_hz == pytest.approx(900, abs=7)
    assert tones[0].amplitude == pytest.approx(0.2, rel=0.16)  # a Hann bin is 1.4 dB low at worst
