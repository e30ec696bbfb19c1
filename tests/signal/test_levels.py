"""Levels, lines and thinning on signals whose answer is known."""

import numpy as np
import pytest

from heavyspot.signal.levels import floor_of, unusual_level
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
