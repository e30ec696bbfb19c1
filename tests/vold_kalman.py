"""A Vold-Kalman order filter, written from the general literature, for tests only.

H. Vold and J. Leuridan, High resolution order tracking at extreme slew rates using Kalman tracking
filters, SAE 931288 (1993); second form (complex envelope, two-pole structural equation). Solved as
one banded least-squares problem.
"""

import numpy as np
from scipy.linalg import solveh_banded


def vold_kalman_first_order(x, turns, rate_hz, *, bandwidth_hz):
    """Return the complex envelope a(t) with ``x ~ Re(a exp(j theta))``; shape (n,)."""
    n = x.size
    # weight for a two-pole filter of that -3 dB bandwidth (Tuma 2005)
    r2 = (np.sqrt(2) - 1) / (2 * np.pi * 0.5 * bandwidth_hz / rate_hz) ** 4
    bands = np.zeros((3, n), complex)
    d = np.array([1.0, -2.0, 1.0])
    for i in range(3):
        for j in range(i, 3):
            k = j - i
            bands[2 - k, j : n - 2 + j] += r2 * d[i] * d[j]
    bands[2] += 1.0
    return 2 * solveh_banded(bands, x * np.exp(-2j * np.pi * turns))
