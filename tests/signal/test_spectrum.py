"""The map and sub-synchronous lines, on signals with known answers and a real whistle."""

import csv

import numpy as np
import pytest
from conftest import FILES

from heavyspot import open_recording
from heavyspot.signal.spectrum import MapMaker, find_sub_synchronous


def make_map(x, rate, chunk=10_000):
    maker = MapMaker(sample_rate_hz=rate)
    for i in range(0, x.size, chunk):
        maker.feed(np.asarray(x[i : i + chunk], np.float32))
    return maker.finish()


def test_a_sine_reads_its_amplitude():
    rate = 102_400
    t = np.arange(rate) / rate
    m = make_map(0.7 * np.sin(2 * np.pi * 1000 * t) + 3.0, rate)
    k = int(np.argmin(np.abs(m.frequency_hz - 1000)))
    assert m.amplitude[1, k] == pytest.approx(0.7, rel=0.01)
    assert m.amplitude[1, 0] < 0.01  # the steady part is taken out


def test_chunking_changes_nothing():
    x = np.random.default_rng(0).normal(size=150_000)
    a, b = make_map(x, 51_200, 150_000), make_map(x, 51_200, 777)
    assert np.array_equal(a.amplitude, b.amplitude)


@pytest.mark.parametrize("order", [0.34, 0.46, 0.62])
def test_a_line_below_the_speed_is_found(order):
    rate, f = 51_200, np.linspace(800, 2400, 51_200 * 4)
    theta = 2 * np.pi * np.cumsum(f) / rate
    x = 0.3 * np.cos(theta) + 0.2 * np.cos(order * theta)
    x = x + 0.01 * np.random.default_rng(0).normal(size=x.size)
    m = make_map(x, rate)
    line = find_sub_synchronous(m, 60 * np.interp(m.time_s, np.arange(x.size) / rate, f))
    assert line is not None
    assert line.order == pytest.approx(order, abs=0.01)
    assert line.amplitude == pytest.approx(0.2, rel=0.3)


def test_mains_and_clean_runs_are_not():
    rate, f = 51_200, np.linspace(300, 2400, 51_200 * 4)
    theta = 2 * np.pi * np.cumsum(f) / rate
    t = np.arange(f.size) / rate
    x = 0.3 * np.cos(theta) + 0.05 * np.sin(2 * np.pi * 100 * t)
    x = x + 0.01 * np.random.default_rng(0).normal(size=x.size)
    m = make_map(x, rate)
    assert find_sub_synchronous(m, 60 * np.interp(m.time_s, t, f)) is None


def test_real_turbocharger_whistle_is_sub_synchronous():
    # Source: example sound of a simulation vendor, MIT. The high ridge is read as once per turn (our
    # interpretation); the low one lies at 0.442 of it.
    recording = open_recording(FILES / "turbo_whistle/Turbo_Whistling.wav")
    x = np.concatenate([b.data[:, 0] for b in recording.blocks()])
    m = make_map(x, recording.sample_rate_hz)
    with (FILES / "turbo_whistle/ridges.csv").open() as file:
        rows = [(float(r["t_s"]), float(r["f_high_hz"])) for r in csv.DictReader(file)]
    t, f = np.array(rows).T
    line = find_sub_synchronous(m, 60 * np.interp(m.time_s, t, f))
    assert line is not None
    assert line.order == pytest.approx(0.442, abs=0.01)
