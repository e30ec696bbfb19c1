"""The plain ways, kept as named references: what anybody would write first."""

from __future__ import annotations

import itertools

import numpy as np
from scipy.interpolate import CubicSpline, interp1d


def plain_reading(vibration, pickup, rate_hz, *, per_turn=64, turns=16):
    """Angle resampling by cubic interpolation, then an FFT of every 16 turns; 1x, 2x, 3x, overall."""
    x = pickup.astype(np.float64)
    up = np.flatnonzero((x[:-1] < 0) & (x[1:] >= 0))
    moments = (up - x[up] / (x[up + 1] - x[up])) / rate_hz
    gap = np.diff(moments)
    moments = moments[np.concatenate([[True], gap > 0.2 * np.median(gap)])]
    clock = CubicSpline(np.arange(moments.size), moments)
    wanted = clock(np.arange(0, moments.size - 1, 1 / per_turn))
    t = np.arange(vibration.size) / rate_hz
    even = interp1d(t, vibration.astype(np.float64), kind="cubic", assume_sorted=True)(wanted)
    whole = even.size // (per_turn * turns) * per_turn * turns
    spectra = (
        np.fft.rfft(even[:whole].reshape(-1, per_turn * turns), axis=1) * 2 / (per_turn * turns)
    )
    speed = 60 / np.diff(clock(np.arange(0, whole // per_turn + 1, turns))) * turns
    overall = even[:whole].reshape(-1, per_turn * turns).std(axis=1)
    return speed, spectra[:, turns], spectra[:, 2 * turns], spectra[:, 3 * turns], overall


def every_pair(vector, response, limit, angles_deg, cap, budget, *, steps=25):
    """Try all pairs of angles with a grid of amounts."""
    unit = np.exp(1j * np.deg2rad(angles_deg))
    grid = np.linspace(0, min(cap, budget), steps)
    a, b = (g.ravel() for g in np.meshgrid(grid, grid))
    keep = a + b <= budget
    best = np.inf
    for i, j in itertools.combinations(range(unit.size), 2):
        u = a[keep] * unit[i] + b[keep] * unit[j]
        level = (np.abs(vector[:, None] - response[:, None] * u) / limit[:, None]).max(axis=0).min()
        best = min(best, float(level))
    return best


def relaxed_with_cvxpy(vector, response, limit, angles_deg, cap, budget):
    """All 36 amounts at once as a cone programme; it may use any number of angles."""
    import cvxpy as cp

    unit = np.exp(1j * np.deg2rad(angles_deg))
    m = cp.Variable(unit.size, nonneg=True)
    residual = (vector - response * (unit @ m)) / limit
    problem = cp.Problem(cp.Minimize(cp.max(cp.abs(residual))), [m <= cap, cp.sum(m) <= budget])
    problem.solve(solver=cp.CLARABEL)
    return float(problem.value)
