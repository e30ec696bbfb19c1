"""A converter's end seen though its tops are short, and an archive's highest sample not taken for one."""

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from heavyspot.signal.sensor.cells import Cells
from heavyspot.signal.sensor.clipping import clipping_findings

NONE = Cells.__new__(Cells)


def groups(values, crowd=0.03):
    """Highest, lowest and shares near them, of one channel, as the tracker gives them."""
    out = np.empty((1, values.size, 4))
    out[0, :, 0], out[0, :, 1], out[0, :, 2:] = values, -0.5 * values, crowd
    return out


@pytest.fixture(autouse=True)
def _only_full_scale(monkeypatch):
    monkeypatch.setattr("heavyspot.signal.sensor.clipping.flattened", lambda *_: None)


def found(values, crowd=0.03):
    return clipping_findings(NONE, groups(values, crowd), names=["housing"], full_scale_g=[100.0])


@given(st.integers(0, 999), st.floats(0.05, 0.6))
def test_short_tops_at_full_scale_block(seed, often):
    """Noise carries the tops over the end in part of the groups only, a few samples each time."""
    rng = np.random.default_rng(seed)
    v = rng.uniform(60, 99, 400)
    v[rng.permutation(400)[: round(often * 400)]] = 100.0
    (said,) = found(v)
    assert said.code == "sensor.clipped" and said.severity == "block"


@given(st.integers(0, 999), st.integers(20, 2000))
def test_an_archive_scaled_to_its_highest_sample_does_not(seed, n):
    """Steady vibration: many groups come within a thousandth of the highest, none is the very same."""
    v = 100.0 - np.abs(0.05 * np.random.default_rng(seed).standard_normal(n))
    v[seed % n] = 100.0
    assert found(v) == []
