"""Measurement uncertainty after the GUM (JCGM 100:2008): means, covariances, propagation.

Vectors on a rotor are complex. Their uncertainty is a Hermitian matrix, *of a component*: what real parts have in
common, and imaginary parts the same (JCGM 102:2011, clause 6, from memory; for errors
without a direction of their own). Results that come
from the same sensors are correlated, so this matrix is carried from plane to plane, never its diagonal alone.
"""

from __future__ import annotations

from collections.abc import Callable

import numpy as np
from numpy.typing import ArrayLike, NDArray

from ..quantities.errors import BadInput

ComplexArray = NDArray[np.complex128]

COVERAGE_K = 2.0
"""Coverage factor of every expanded uncertainty shown (about 95 % for a normal distribution)."""


def type_a(readings: ArrayLike) -> tuple[NDArray[np.float64], NDArray[np.float64]]:
    """Return means and the covariance of the means from repeated simultaneous readings.

    Parameters
    ----------
    readings : array_like, shape (quantities, n), n >= 2
        Column k holds the readings of one repetition.

    Returns
    -------
    mean : ndarray, shape (quantities,)
    covariance : ndarray, shape (quantities, quantities)
        Of the means: ``s_ij / n`` (GUM 4.2.3 and 5.2.3).
    """
    x = np.atleast_2d(np.asarray(readings, float))
    if x.shape[1] < 2:
        raise BadInput(f"{x.shape[1]} reading.", remedy="Two or more repetitions are needed.")
    return x.mean(axis=1), np.atleast_2d(np.cov(x)) / x.shape[1]


def mean_covariance(vectors: ArrayLike) -> tuple[ComplexArray, ComplexArray]:
    """Return mean vectors and the covariance of a component of the means, from simultaneous repetitions.

    Parameters
    ----------
    vectors : array_like, shape (quantities, n), complex, n >= 2
        Column k holds the vectors of one repetition.

    Returns
    -------
    mean : ndarray, shape (quantities,), complex128
    covariance : ndarray, shape (quantities, quantities), complex128
        Hermitian; the diagonal is the variance of a real or imaginary part (GUM 4.2.3 and 5.2.3).

    Raises
    ------
    BadInput
        Fewer than two repetitions.
    """
    v = np.atleast_2d(np.asarray(vectors, complex))
    n = v.shape[1]
    if n < 2:
        raise BadInput(f"{n} repetition.", remedy="Two or more are needed.")
    mean = v.mean(axis=1)
    left = v - mean[:, None]
    return mean, left @ left.conj().T / (2 * (n - 1) * n)


def carried(covariance: ArrayLike, matrix: ArrayLike) -> ComplexArray:
    """Return the covariance of ``matrix @ vectors`` (GUM 5.2.2): ``M C M^H``.

    Parameters
    ----------
    covariance : array_like, shape (n, n)
    matrix : array_like, shape (m, n)
    """
    m = np.asarray(matrix, complex)
    return np.asarray(m @ np.asarray(covariance, complex) @ m.conj().T)


def standard_of(covariance: ArrayLike) -> NDArray[np.float64]:
    """Return the standard uncertainty of a component of each vector: the root of the diagonal."""
    return np.sqrt(np.maximum(np.diag(np.asarray(covariance)).real, 0.0))


def propagate(
    function: Callable[[NDArray[np.float64]], ArrayLike],
    mean: ArrayLike,
    covariance: ArrayLike,
) -> tuple[NDArray[np.float64], NDArray[np.float64]]:
    """Return value and covariance of a function of uncertain quantities (GUM 5.1.2, 5.2.2).

    Derivatives are central differences of a thousandth of each standard uncertainty.

    Parameters
    ----------
    function : callable
        Takes shape (quantities,), returns shape (results,).
    mean : array_like, shape (quantities,)
    covariance : array_like, shape (quantities, quantities)
    """
    x, cov = np.asarray(mean, float), np.asarray(covariance, float)
    value = np.atleast_1d(np.asarray(function(x), float))
    jacobian = np.empty((value.size, x.size))
    for i in range(x.size):
        step = max(1e-3 * np.sqrt(cov[i, i]), 1e-9 * max(1.0, abs(x[i])))
        up, down = x.copy(), x.copy()
        up[i] += step
        down[i] -= step
        jacobian[:, i] = (np.asarray(function(up)) - np.asarray(function(down))) / (2 * step)
    return value, jacobian @ cov @ jacobian.T


def combined(*standard: ArrayLike) -> NDArray[np.float64]:
    """Return the root sum of squares of independent standard uncertainties; arrays broadcast."""
    total: NDArray[np.float64] = np.zeros(())
    for u in standard:
        total = total + np.asarray(u, float) ** 2
    return np.sqrt(total)


def polar_uncertainty(vector: complex, component: float) -> tuple[float, float]:
    """Return the standard uncertainty of amplitude and angle (degrees) of a complex vector.

    Parameters
    ----------
    component : float
        Standard uncertainty of real and imaginary part, equal and independent; first order.
    """
    size = abs(vector)
    if size == 0:
        raise BadInput("The vector is zero.", remedy="An angle needs an amplitude.")
    return component, float(np.rad2deg(component / size))
