"""What a piece's runs and cuts say of its state and its responses: one linear-Gaussian estimate.

The model of run ``i`` at each speed::

    V_i = U - sum_j H_pj c_j (1 + d_j) + V_i (e_i + f_i) + dV_i/dln(speed) s_i + w

``U`` the vector as found, ``c_j`` the cuts made before run ``i`` (recorded), ``d_j`` the error of
making them, ``e_i`` the run-to-run scatter of all speeds alike (one complex number a run), ``f_i`` a
smooth shape of it over speed, ``s_i`` the stretch of the run's speed axis (a resonance that moved),
``w`` the noise of each point. Responses have a prior ``H = mean + factor g``, ``g`` standard complex normal:
from other units of the model, or a wide one that only says how large and how smooth a response can
be. Everything unknown is then jointly Gaussian (Bayesian linear regression, as in any text on it,
for example Bishop, Pattern Recognition and Machine Learning (2006), section 3.3); draws from it
carry all correlations into the advice.
"""

from __future__ import annotations

from dataclasses import dataclass, field, replace

import numpy as np
from numpy.typing import NDArray
from scipy.linalg import cho_solve, solve_triangular

from ...quantities.errors import BadInput
from .history import History, Scatter
from .prior import ResponsePrior, unit_shapes
from .run_scatter import SHAPE_LENGTH, slope_of
from .seen_effect import bounded, turned_round

ComplexArray = NDArray[np.complex128]
FloatArray = NDArray[np.float64]


@dataclass(frozen=True)
class Estimate:
    """Draws from what is now believed.

    Attributes
    ----------
    state : ndarray, shape (draws, n), complex
        The vector as the piece now is, free of run-to-run scatter, g.
    response : dict of plane -> ndarray, shape (draws, n), complex
        g per g·mm.
    mean_state : ndarray, shape (n,)
    mean_response : dict of plane -> ndarray, shape (n,)
    cut_error : ndarray, shape (cuts,), complex
        Mean estimate of each recorded cut's error: share + j radians.
    cut_noise, cut_usual : ndarray, shape (cuts, 2)
        Standard uncertainty of its parts, and what it was before the runs were looked at.
    spread : dict of plane -> float
        Relative uncertainty of the response: rms of draws about the mean over rms of the mean,
        where the piece vibrates most.
    units : dict of plane -> int
        Other units its prior rests on.
    """

    state: ComplexArray
    response: dict[str, ComplexArray]
    mean_state: ComplexArray
    mean_response: dict[str, ComplexArray]
    cut_error: ComplexArray
    cut_noise: FloatArray
    cut_usual: FloatArray
    spread: dict[str, float] = field(default_factory=dict)
    units: dict[str, int] = field(default_factory=dict)

    def first(self, draws: int) -> Estimate:
        """Return the same with only so many draws."""
        response = {p: r[:draws] for p, r in self.response.items()}
        return replace(self, state=self.state[:draws], response=response)


def estimate(
    history: History,
    priors: dict[str, ResponsePrior],
    scatter: Scatter,
    *,
    draws: int = 200,
    seed: int = 0,
) -> Estimate:
    """Return what the runs and cuts say, as `draws` consistent possibilities.

    Parameters
    ----------
    priors : dict of plane -> ResponsePrior
        One for every plane that was cut or may be.
    seed : int
        The same seed gives the same draws.
    """
    unknown = {c.plane for c in history.cuts} - set(priors)
    if unknown:
        raise BadInput(
            f"No prior for plane {sorted(unknown)}.", remedy="Add the plane to the model."
        )
    priors = bounded(history, turned_round(history, priors))
    planes = list(priors)
    bar = {p: priors[p].mean for p in planes}
    error_bar = np.zeros(len(history.cuts), complex)
    layout = _Layout(history, priors)
    for step in range(8):  # a cut's error multiplies the response: Gauss-Newton about both
        solved = _solve(history, priors, scatter, layout, (bar, error_bar))
        about = bar, error_bar
        error_bar = solved.mean[layout.d]
        bar = {p: priors[p].mean + priors[p].factor @ solved.mean[layout.g[p]] for p in planes}
        if step >= 2 and np.abs(error_bar - about[1]).max(initial=0.0) < 1e-3:
            break
    rng = np.random.default_rng(seed)
    b, found = solved.draw(rng, draws)
    response = {p: (priors[p].mean[:, None] + priors[p].factor @ b[layout.g[p]]).T for p in planes}
    mean_b = solved.mean
    state, mean_state = found.T.copy(), solved.found(mean_b[:, None])[:, 0]
    for j, cut in enumerate(history.cuts):
        # linearised as in the estimate: the product of two unknowns would count twice
        then, e = about[0][cut.plane], about[1][j]
        error = b[layout.d[j]] - e
        state -= cut.removed * (response[cut.plane] * (1 + e) + error[:, None] * then)
        mean_state -= cut.removed * (bar[cut.plane] * (1 + e) + (mean_b[layout.d[j]] - e) * then)
    heavy = np.abs(history.vectors[-1])
    spread = {}
    for p in planes:
        scatter_p = np.sqrt((np.abs(response[p] - bar[p]) ** 2).mean(axis=0))
        size = np.sqrt((heavy**2 * np.abs(bar[p]) ** 2).sum())
        spread[p] = float(np.sqrt((heavy**2 * scatter_p**2).sum()) / max(float(size), 1e-300))
    units = {p: priors[p].units for p in planes}
    return Estimate(
        state=state,
        response=response,
        mean_state=mean_state,
        mean_response=bar,
        cut_error=mean_b[layout.d],
        cut_noise=solved.noise()[layout.d],
        cut_usual=_cut_sizes(history, scatter),
        spread=spread,
        units=units,
    )


def _cut_sizes(history: History, scatter: Scatter) -> FloatArray:
    """Return the usual error of each cut, (cuts, 2): share, radians."""
    sizes = np.array([scatter.cut_error(c.plane) for c in history.cuts]).reshape(-1, 2)
    return np.asarray(sizes * [1.0, np.pi / 180])


class _Layout:
    """Where each unknown but the vector as found stands: responses, run scatter (e, f, s), cut errors."""

    def __init__(self, history: History, priors: dict[str, ResponsePrior]) -> None:
        at = 0
        self.g: dict[str, NDArray[np.intp]] = {}
        for plane, prior in priors.items():
            r = prior.factor.shape[1]
            self.g[plane] = np.arange(at, at + r)
            at += r
        runs = history.vectors.shape[0]
        self.e = np.arange(at, at + runs)
        at += self.e.size
        self.shapes = unit_shapes(history.sensor, length=SHAPE_LENGTH, least=1e-2)
        self.f = np.arange(at, at + runs * self.shapes.shape[1]).reshape(runs, -1)
        at += self.f.size
        self.s = np.arange(at, at + runs)
        at += runs
        self.slope = np.stack([slope_of(history, v) for v in history.vectors])
        self.d = np.arange(at, at + len(history.cuts))
        self.size = at + len(history.cuts)

    def of_run(self, run: int) -> NDArray[np.intp]:
        """Return where the unknowns stand that a run tells of: all but the scatter of the others."""
        own = [self.e[run : run + 1], self.f[run], self.s[run : run + 1]]
        return np.concatenate([*self.g.values(), *own, self.d])


@dataclass(frozen=True)
class _Solved:
    """The posterior: `mean` of the unknowns b, Cholesky root of their precision, and U given b.

    Given b, the vector as found is independent at each speed: ``(right - cross b) / weight``.
    """

    mean: ComplexArray
    root: FloatArray
    right: ComplexArray
    cross: ComplexArray
    weight: FloatArray
    sensor: NDArray[np.intp]

    def found(self, b: ComplexArray) -> ComplexArray:
        """Return the mean of the vector as found, (n, draws), given b (unknowns, draws)."""
        return (self.right[:, None] - self.cross @ b) / self.weight[:, None]

    def noise(self) -> FloatArray:
        """Return the standard uncertainty of real and imaginary part of b, (unknowns, 2)."""
        # covariance = half^T half
        half = solve_triangular(self.root, np.eye(self.root.shape[0]), lower=True)
        return np.asarray(np.sqrt((half**2).sum(axis=0)).reshape(2, -1).T)

    def draw(self, rng: np.random.Generator, draws: int) -> tuple[ComplexArray, ComplexArray]:
        """Return draws of b and of the vector as found.

        What the model does not explain goes up and down over speed slowly, as machines do: drawn
        anew at each speed, its largest value would stand above the curve of every draw.
        """
        q = self.mean.size
        z = solve_triangular(self.root, rng.standard_normal((2 * q, draws)), lower=True, trans="T")
        b = self.mean[:, None] + z[:q] + 1j * z[q:]
        shapes = unit_shapes(self.sensor, length=0.15, least=1e-4)
        smooth = shapes @ rng.standard_normal((2, shapes.shape[1], draws))
        noise = smooth / np.sqrt(self.weight)[:, None]
        return b, self.found(b) + noise[0] + 1j * noise[1]


def _solve(
    history: History,
    priors: dict[str, ResponsePrior],
    scatter: Scatter,
    layout: _Layout,
    about: tuple[dict[str, ComplexArray], ComplexArray],
) -> _Solved:
    """Return the posterior. U is eliminated at each speed; what is left is real and small.

    Real and imaginary parts are separate unknowns, because amount and angle of a cut, size and
    angle of a run do not scatter alike.
    """
    runs, n = history.vectors.shape
    q = layout.size
    largest = float(np.abs(history.vectors).max())
    weight = np.full(n, 2 / (30 * max(largest, 1e-6)) ** 2)
    right_u, cross = np.zeros(n, complex), np.zeros((n, q), complex)
    inner, right = np.zeros((q, q), complex), np.zeros(q, complex)
    for i in range(runs):
        rows, known, sigma2 = _rows_of(history, priors, layout, about, i)
        its = layout.of_run(i)  # the other runs' scatter is not in its rows
        rows, w = rows[:, its], 2 / sigma2
        weighted = rows * w[:, None]
        weight += w
        right_u += w * known
        cross[:, its] += weighted
        inner[np.ix_(its, its)] += rows.conj().T @ weighted
        right[its] += weighted.conj().T @ known
    inner -= cross.conj().T @ (cross / weight[:, None])
    right -= cross.conj().T @ (right_u / weight)
    precision = np.block([[inner.real, -inner.imag], [inner.imag, inner.real]])
    prior = np.full((2, q), 2.0)  # responses: standard complex normal
    prior[0, layout.e] = 1 / scatter.run_share**2
    prior[1, layout.e] = 1 / np.deg2rad(scatter.run_angle_deg) ** 2
    prior[:, layout.f.ravel()] = 1 / max(scatter.run_shape, 1e-6) ** 2
    prior[0, layout.s] = 1 / max(scatter.run_warp, 1e-6) ** 2
    prior[1, layout.s] = 1e12  # a stretch is a real number
    prior[:, layout.d] = 1 / _cut_sizes(history, scatter).T ** 2
    precision[np.diag_indices(2 * q)] += prior.reshape(-1)
    root = np.linalg.cholesky(precision)
    mean = cho_solve((root, True), np.concatenate([right.real, right.imag]))
    return _Solved(mean[:q] + 1j * mean[q:], root, right_u, cross, weight, history.sensor)


def _rows_of(
    history: History,
    priors: dict[str, ResponsePrior],
    layout: _Layout,
    about: tuple[dict[str, ComplexArray], ComplexArray],
    run: int,
) -> tuple[ComplexArray, ComplexArray, FloatArray]:
    """Return a run's coefficients of b, its known side, and its variance at each speed."""
    vector = history.vectors[run]
    # what no model of ours explains, beside the noise of the point: 1 % of the largest vector, not
    # of each, or small vectors at low speed would outweigh those that decide
    largest = float(np.abs(history.vectors).max())
    sigma2 = 2 * history.noise[run] ** 2 + (0.01 * largest) ** 2 + 1e-8
    rows = np.zeros((vector.size, layout.size), complex)
    rows[:, layout.e[run]] = vector
    rows[:, layout.f[run]] = vector[:, None] * layout.shapes
    rows[:, layout.s[run]] = layout.slope[run]
    known = vector.copy()
    for j, cut in enumerate(history.cuts):
        if cut.before_run > run:
            continue
        # H (1 + d) about (H0, d0): H (1 + d0) + H0 (d - d0)
        prior, then, error = priors[cut.plane], about[0][cut.plane], about[1][j]
        rows[:, layout.g[cut.plane]] -= prior.factor * (cut.removed * (1 + error))
        rows[:, layout.d[j]] = -then * cut.removed
        known += cut.removed * (prior.mean * (1 + error) - then * error)
    return rows, known, sigma2
