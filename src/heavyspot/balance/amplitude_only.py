"""Balancing by amplitudes alone, without phase: as found, and after trial cuts at known places.

After cuts that took off ``C_i`` in all (g·mm, complex), the amplitude is ``R_i = |o - h C_i|``: the vector as
found, taken as real, and the response in its frame. Squared it is linear in four unknowns,
``R² = o² + |h|² |C|² - 2 Re(o h C)``, so that four runs with cuts that do not lie on one line settle it, speed by
speed, and three leave two answers, inverse to each other in the circle through the three places. The unbalance is
``o / h``. The general form of the four-run method of the vibration handbooks (from memory; ISO 21940-13 has it for
rotors in situ), whose trial weights are alike, evenly spread and taken off again; here cuts stay.

Uncertainty: amplitudes and cuts are drawn with their own scatter, and every draw is solved (JCGM 101:2008,
propagation by Monte Carlo).
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike, NDArray

from ..quantities.errors import BadInput

FloatArray = NDArray[np.float64]
ComplexArray = NDArray[np.complex128]

LEAST_RUNS = 4
STEPS = 25
"""Of Gauss and Newton, damped (Levenberg, Quart. Appl. Math. 2 (1944) 164); more of them change nothing."""


@dataclass(frozen=True)
class Scattered:
    """How amplitudes and cuts scatter.

    Attributes
    ----------
    run_share : float
        Of a run's amplitudes, all speeds alike.
    noise : ndarray, shape (runs, n)
        Standard uncertainty of each amplitude beside it, g.
    cut_share, cut_angle_deg : float
        Of each cut against its record.
    """

    run_share: float
    noise: FloatArray
    cut_share: float = 0.0
    cut_angle_deg: float = 0.0


def four_runs(amplitude: ArrayLike, removed: ArrayLike) -> tuple[FloatArray, ComplexArray]:
    """Return the vector as found (real) and the response, at each speed, from four runs or more.

    Parameters
    ----------
    amplitude : array_like, shape (runs, n)
        g; the first one as found.
    removed : array_like, shape (runs,), complex
        What was off in all at each run, g·mm.

    Raises
    ------
    BadInput
        Fewer than four runs, or cuts that lie on one line or one circle with the mark's middle.

    Examples
    --------
    >>> places = np.array([0, 1, 1j, -1 - 1j])
    >>> found, response = four_runs(np.abs(2.0 - (0.5 + 0.5j) * places)[:, None], places)
    >>> float(found[0].round(9)), complex(response[0].round(9))
    (2.0, (0.5+0.5j))
    """
    r, c = np.asarray(amplitude, float), np.asarray(removed, complex)
    _check(r, c)
    scale = float(np.abs(c).max())
    found, response = _solve(r[None], np.asarray(c / scale, np.complex128)[None], np.ones_like(r))
    return found[0], response[0] / scale


def three_runs(
    amplitude: tuple[float, float, float], removed: tuple[complex, complex]
) -> tuple[complex, complex]:
    """Return the two unbalances, g·mm, that three amplitudes allow: as found, and after each of two cuts.

    One of the two is the piece's, and nothing here says which: a fourth run tells, or what the part allows.

    Parameters
    ----------
    amplitude : (float, float, float)
        As found, and at the two runs after it; any unit, > 0 as found.
    removed : (complex, complex)
        ``g·mm * exp(j angle)``, what was off in all at the second and the third run; no line through nothing
        holds both.

    Returns
    -------
    (complex, complex)
        Amount and angle of each heavy spot: where it would have to be taken off.

    Raises
    ------
    BadInput
        The places lie on one line, the runs do not differ, or no unbalance gives these amplitudes.

    Notes
    -----
    Source: the three-run case of the general method above.

    Examples
    --------
    >>> import heavyspot
    >>> cuts = heavyspot.vector(1.0, 0.0), heavyspot.vector(1.0, 120.0)
    >>> amplitudes = (2.0, abs(2 - cuts[0]), abs(2 - cuts[1]))  # of 2 g·mm at 0 degrees
    >>> [round(abs(u), 3) for u in heavyspot.three_runs(amplitudes, cuts)]
    [2.0, 1.155]
    """
    r = np.array(amplitude, float)
    if r.shape != (3,) or not np.isfinite(r).all() or r.min() < 0 or not r[0] > 0:
        raise BadInput(
            "Three amplitudes are needed, none below 0, and something to be seen as found.",
            remedy="Give those of three runs.",
        )
    o2 = float(r[0] ** 2)
    c = np.array(removed, complex)
    # with w = h / o: R²/o² - 1 = |w|² |C|² - 2 Re(w C); eliminate |w|² for a line, and cut it with one circle
    d = r[1:] ** 2 / o2 - 1.0
    rows = 2.0 * np.stack([c.real, -c.imag], axis=1)
    if not abs(np.linalg.det(rows)) > 1e-9 * float(np.abs(c).max()) ** 2:
        raise BadInput(
            "The two cuts lie on one line.", remedy="Turn the second by about 120 degrees."
        )
    along = np.linalg.solve(rows, np.abs(c) ** 2)  # w = along |w|² + off
    off = np.linalg.solve(rows, -d)
    a, b, k = float(along @ along), float(2 * along @ off - 1.0), float(off @ off)
    inside = b * b - 4 * a * k
    if inside < 0:
        raise BadInput(
            "No unbalance gives these three amplitudes.", remedy="Repeat the run that does not fit."
        )
    sizes = [(-b + s * np.sqrt(inside)) / (2 * a) for s in (-1.0, 1.0)]
    w = [complex(*(along * size + off)) for size in sizes]
    if min(map(abs, w)) * float(np.abs(c).max()) < 1e-6:
        raise BadInput("The cuts changed next to nothing.", remedy="Make them larger.")
    return 1 / w[0], 1 / w[1]


def next_place(removed: ArrayLike, angles_deg: ArrayLike, amount: float) -> tuple[float, float]:
    """Return angle and amount of the next trial cut: the one after which amplitudes settle most.

    The first two lie 120 degrees apart. Three alike at 0, 120 and 240 would not do where cuts stay: what is off in
    all would then be nothing again, and four runs tell no more than three.

    Parameters
    ----------
    removed : array_like, shape (runs,), complex
        What was off in all at each run so far, the first one nothing.
    angles_deg : array_like
        Where a cut may lie.
    amount : float
        The most it may take off, g·mm.
    """
    c, angles = np.asarray(removed, complex), np.asarray(angles_deg, float)
    places = np.unique(c.round(9))
    if places.size == 1:
        return float(angles[0]), amount
    if places.size == 2:
        wanted = np.rad2deg(np.angle(c[-1] - c[0])) + 120.0
        off = np.abs((angles - wanted + 180.0) % 360.0 - 180.0)
        return float(angles[np.argmin(off)]), amount
    tried = [(float(a), s * amount) for a in angles for s in (0.5, 0.6, 0.8, 1.0)]
    ends = [c[-1] + m * np.exp(1j * np.deg2rad(a)) for a, m in tried]
    scale = max(float(np.abs(c).max()), amount)
    settled = [
        _least_singular(np.asarray(np.append(c, end) / scale, np.complex128)) for end in ends
    ]
    return tried[int(np.argmax(settled))]


def _least_singular(places: NDArray[np.complex128]) -> float:
    return float(np.linalg.svd(_rows(places), compute_uv=False)[-1])


def drawn(
    amplitude: ArrayLike, removed: ArrayLike, scatter: Scattered, *, draws: int = 200, seed: int = 0
) -> tuple[ComplexArray, ComplexArray]:
    """Return draws of the vector as it is now and of the response, (draws, n) each, in the frame of each draw.

    Raises
    ------
    BadInput
        As `four_runs`.
    """
    r, c = np.asarray(amplitude, float), np.asarray(removed, complex)
    _check(r, c)
    scale = float(np.abs(c).max())
    rng = np.random.default_rng(seed)
    runs, n = r.shape
    shared = 1 + scatter.run_share * rng.standard_normal((draws, runs, 1))
    read = np.abs(r * shared + scatter.noise * rng.standard_normal((draws, runs, n)))
    steps = np.diff(c, prepend=0.0) / scale
    size = 1 + scatter.cut_share * rng.standard_normal((draws, runs))
    turn = np.deg2rad(scatter.cut_angle_deg) * rng.standard_normal((draws, runs))
    places = np.cumsum(steps * size * np.exp(1j * turn), axis=1)
    doubt = np.hypot(scatter.run_share * r, scatter.noise) + 1e-6 * float(r.max())
    found, response = _solve(read, places, doubt)
    return found - response * places[:, -1:], response / scale


def _check(r: FloatArray, c: ComplexArray) -> None:
    if r.ndim != 2 or c.shape != r.shape[:1] or r.shape[0] < LEAST_RUNS:
        raise BadInput(
            f"{r.shape[0]} runs do not settle it.",
            remedy="Four are needed: as found, and three more.",
        )
    if not np.abs(c).max() > 0 or np.linalg.cond(_rows(c / np.abs(c).max())) > 1e6:
        raise BadInput(
            "The cuts lie on one line, or on one circle with nothing: they leave two answers.",
            remedy="Make another cut, about 120 degrees away.",
        )


def _rows(c: ComplexArray) -> FloatArray:
    """Return the coefficients of o², |h|², Re(o h) and Im(o h), (..., runs, 4)."""
    parts = [np.ones(c.shape), np.abs(c) ** 2, -2 * c.real, 2 * c.imag]
    return np.stack(parts, axis=-1)


def _solve(r: FloatArray, c: ComplexArray, doubt: FloatArray) -> tuple[FloatArray, ComplexArray]:
    """Return o and h, (draws, n): linear in the squares first, then least squares of the amplitudes themselves."""
    weight = 1.0 / np.maximum(2 * r * doubt, 1e-12)  # (draws, runs, n), of the squares
    a = _rows(c)[:, None] * np.swapaxes(weight, 1, 2)[..., None]
    b = np.swapaxes(r**2 * weight, 1, 2)[..., None]
    q = (np.linalg.pinv(a) @ b)[..., 0]
    o = np.sqrt(np.maximum(q[..., 0], 1e-4 * r[:, 0] ** 2 + 1e-18))
    h = (q[..., 2] + 1j * q[..., 3]) / o
    return _polished(r, c, doubt, np.stack([o, h.real, h.imag], axis=-1))


def _polished(
    r: FloatArray, c: ComplexArray, doubt: FloatArray, p: FloatArray
) -> tuple[FloatArray, ComplexArray]:
    read = np.swapaxes(r, 1, 2)  # (draws, n, runs)
    w = 1.0 / np.maximum(doubt.T, 1e-12)
    damping = np.full(p.shape[:-1], 1e-3)
    cost = _cost(p, c, read, w)
    for _ in range(STEPS):
        e, j = _residuals(p, c, read, w)
        normal = np.swapaxes(j, -1, -2) @ j
        scale = np.einsum("...ii->...i", normal) + 1e-12
        damped = normal + np.eye(3) * (damping[..., None] * scale)[..., None, :]
        step = np.linalg.solve(damped, np.swapaxes(j, -1, -2) @ e[..., None])[..., 0]
        tried = p - step
        then = _cost(tried, c, read, w)
        better = then < cost
        p = np.where(better[..., None], tried, p)
        cost = np.where(better, then, cost)
        damping = np.where(better, 0.2 * damping, 10.0 * damping).clip(1e-12, 1e12)
    sign = np.where(p[..., 0] < 0, -1.0, 1.0)
    return np.abs(p[..., 0]), (p[..., 1] + 1j * p[..., 2]) * sign


def _left(p: FloatArray, c: ComplexArray) -> ComplexArray:
    h = p[..., 1] + 1j * p[..., 2]
    return np.asarray(p[..., :1] - h[..., None] * c[:, None])


def _cost(p: FloatArray, c: ComplexArray, read: FloatArray, w: FloatArray) -> FloatArray:
    return np.asarray((((np.abs(_left(p, c)) - read) * w) ** 2).sum(axis=-1))


def _residuals(
    p: FloatArray, c: ComplexArray, read: FloatArray, w: FloatArray
) -> tuple[FloatArray, FloatArray]:
    left = _left(p, c)
    size = np.maximum(np.abs(left), 1e-15)
    unit = np.conj(left) / size
    place = c[:, None]
    j = np.stack([unit.real, -(unit * place).real, -(unit * 1j * place).real], axis=-1)
    return (size - read) * w, j * w[..., None]
