"""Covariances of vectors: means of repetitions, and what a matrix makes of them (GUM 5.2.2)."""

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from heavyspot.balance.rotor.calibration import calibrate, fit_covariance
from heavyspot.balance.rotor.tooling import index_covariance, index_method
from heavyspot.balance.uncertainty import carried, mean_covariance, standard_of, type_a
from heavyspot.quantities.errors import BadInput


def scattered(rng, *shape):
    return rng.standard_normal(shape) + 1j * rng.standard_normal(shape)


def test_a_mean_of_vectors_is_that_of_their_parts():
    """Real and imaginary parts taken apart, by the covariance of the GUM's means."""
    v = scattered(np.random.default_rng(1), 2, 9)
    mean, covariance = mean_covariance(v)
    (re, of_re), (im, of_im) = type_a(v.real), type_a(v.imag)
    assert mean == pytest.approx(re + 1j * im)
    assert covariance.real == pytest.approx(0.5 * (of_re + of_im))
    with pytest.raises(BadInput, match="repetition"):
        mean_covariance([[1j]])


@given(st.integers(0, 300))
def test_there_and_back_is_where_it_was(seed):
    """Carried from two planes to two others and back; its diagonal alone would not come back."""
    rng = np.random.default_rng(seed)
    errors = scattered(rng, 2, 5)
    covariance = errors @ errors.conj().T
    levers = np.array([[0.6, 0.3], [0.4, 0.7]])
    there = carried(covariance, levers)
    assert carried(there, np.linalg.inv(levers)) == pytest.approx(covariance)
    assert there == pytest.approx(there.conj().T) and (standard_of(there) >= 0).all()
    # the sum of both planes is the same in either pair of planes
    assert carried(there, [[1, 1]]) == pytest.approx(carried(covariance, [[1, 1]]))


def test_an_error_common_to_both_planes_does_not_average_out():
    common = np.full((2, 2), 0.04)
    assert standard_of(carried(common, [[0.5, 0.5]])) == pytest.approx(0.2)  # not 0.14
    assert standard_of(carried(common, [[1, -1]])) == pytest.approx(0.0)


def test_responses_scatter_as_their_covariance_says():
    """2,000 calibrations of a known machine."""
    rng = np.random.default_rng(2)
    added = np.array([[0, 0], [2, 0], [0, 2], [2, 2j], [-2, 2]], complex)
    H, covariance = np.array([[1 + 1j, 1.0]]), fit_covariance(added)
    off = np.array([
        calibrate(added, added @ H.T + 0.1 * scattered(rng, 5, 1)).response[0] - H[0]
        for _ in range(2000)
    ])  # fmt: skip
    seen = off.T @ off.conj() / (2 * len(off))
    assert seen == pytest.approx(0.01 * covariance, abs=0.05 * 0.01 * covariance[0, 0].real)


def test_indexing_in_all_planes_scatters_as_said():
    """600 indexings with an error that both planes share; from the scatter alone."""
    rng = np.random.default_rng(3)
    at = 45.0 * np.arange(8)
    clean = 1.0 + 0.5 * np.exp(-1j * np.deg2rad(at))
    shared = np.array([[1.0, 0.0], [-0.9, 0.3]])
    off, told = [], []
    for _ in range(600):
        read = clean + 0.1 * shared @ scattered(rng, 2, 8)
        told.append(index_covariance(read, at, reading=np.zeros((2, 2))))
        off.append([index_method(r, at).fixture - 0.5 for r in read])
    errors = np.array(off)
    seen = errors.T @ errors.conj() / (2 * len(errors))
    assert np.mean(told, axis=0) == pytest.approx(seen, abs=0.1 * seen[0, 0].real)
    stated = index_covariance(clean * np.ones((2, 1)), at, reading=np.eye(2))
    assert stated == pytest.approx(np.eye(2) / 8)
