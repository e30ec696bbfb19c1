"""A piece's runs and the cuts between them, and how well such things repeat."""

from __future__ import annotations

from dataclasses import dataclass, field, replace

import numpy as np
from numpy.typing import NDArray

from ...quantities.errors import BadInput

ComplexArray = NDArray[np.complex128]
FloatArray = NDArray[np.float64]


@dataclass(frozen=True)
class Scatter:
    """How well things repeat; standard deviations.

    Attributes
    ----------
    run_share, run_angle_deg : float
        Run-to-run scatter of the vector without a cut between. Defaults are what a good rig does
        (common practice, no source).
    run_shape : float
        The part of it that is not alike at all speeds: oil, warmth and amplitude move a resonance and
        its damping (stated; a cartridge that repeats better shows it by its own runs).
    run_warp : float
        By how much the resonances of one run stand elsewhere on the speed axis, as a share (stated).
    cut_share, cut_angle_deg : float
        Error of a cut against what is recorded.
    recorded : dict of plane -> (share, degrees)
        The same for single planes, where the shop's own record tells.
    asked : dict of plane -> (share, degrees)
        Scatter of what is recorded about what was asked.
    """

    run_share: float = 0.025
    run_angle_deg: float = 2.0
    cut_share: float = 0.15
    cut_angle_deg: float = 4.0
    recorded: dict[str, tuple[float, float]] = field(default_factory=dict)
    asked: dict[str, tuple[float, float]] = field(default_factory=dict)
    run_shape: float = 0.03
    run_warp: float = 0.002

    @property
    def run_variance(self) -> float:
        """Complex variance of one run's scatter, as a share squared."""
        return self.run_share**2 + np.deg2rad(self.run_angle_deg) ** 2

    def cut_error(self, plane: str) -> tuple[float, float]:
        """Return the error of a cut against what is recorded: share, degrees."""
        return self.recorded.get(plane, (self.cut_share, self.cut_angle_deg))

    def making(self, plane: str) -> tuple[float, float]:
        """Return the error of a cut against what is asked: share, degrees."""
        made, asked = self.cut_error(plane), self.asked.get(plane, (0.0, 0.0))
        return float(np.hypot(made[0], asked[0])), float(np.hypot(made[1], asked[1]))

    def cut_variance(self, plane: str) -> float:
        """Complex variance of one cut's error, as a share squared."""
        share, angle_deg = self.cut_error(plane)
        return share**2 + np.deg2rad(angle_deg) ** 2


@dataclass(frozen=True)
class MadeCut:
    """A cut made between two runs.

    Attributes
    ----------
    before_run : int
        Index of the first run that shows it.
    plane : str
    removed : complex
        ``amount * exp(j angle)`` of the material taken off, g·mm.
    looked : bool
        Whether somebody has looked at it since and says that it is there as written down.
    knowingly : bool
        Whether an inspector lets the work go on in spite of what it did.
    """

    before_run: int
    plane: str
    removed: complex
    looked: bool = False
    knowingly: bool = False


@dataclass(frozen=True)
class History:
    """A piece's runs on one axis of points, a speed of a sensor each, and the cuts between them.

    Attributes
    ----------
    speed_rpm : ndarray, shape (n,)
        Of each point; one sensor's points after the other's, each ascending.
    vectors : ndarray, shape (runs, n), complex
        g, zero-to-peak.
    noise : ndarray, shape (runs, n)
        Standard uncertainty of each component, g.
    cuts : tuple of MadeCut
    sensor : ndarray, shape (n,), int
        Of each point, 0 for the first; all 0 when not given.
    names : tuple of str
        Of the sensors.
    """

    speed_rpm: FloatArray
    vectors: ComplexArray
    noise: FloatArray
    cuts: tuple[MadeCut, ...] = ()
    sensor: NDArray[np.intp] = field(default_factory=lambda: np.zeros(0, np.intp))
    names: tuple[str, ...] = ("",)

    def __post_init__(self) -> None:
        if self.sensor.size == 0:
            object.__setattr__(self, "sensor", np.zeros(self.speed_rpm.size, np.intp))
        if self.vectors.ndim != 2 or self.vectors.shape[1] != self.speed_rpm.size:
            raise BadInput(
                f"runs have shape {self.vectors.shape} for {self.speed_rpm.size} speeds.",
                remedy="Give one row a run, one column a speed.",
            )
        if self.vectors.shape[0] == 0:
            raise BadInput("There is no run.", remedy="Spin first.")

    @property
    def grid_rpm(self) -> FloatArray:
        """The speeds of one sensor's points."""
        return self.speed_rpm[self.sensor == 0]

    @property
    def last_cut_run(self) -> int | None:
        """Index of the first run after the newest cuts; None before any."""
        return max((c.before_run for c in self.cuts), default=None)

    @property
    def last_cuts(self) -> tuple[MadeCut, ...]:
        """The newest cuts, all of one stop; a repeated run after them changes nothing."""
        return tuple(c for c in self.cuts if c.before_run == self.last_cut_run)

    def before(self, run: int) -> History:
        """Return the runs before a run, of which there must be one, and the cuts they show."""
        kept = tuple(c for c in self.cuts if c.before_run < run)
        return replace(self, vectors=self.vectors[:run], noise=self.noise[:run], cuts=kept)

    def repeated(self) -> bool:
        """Whether the last run repeats the one before it, without a cut between."""
        last = self.vectors.shape[0] - 1
        return last > 0 and not any(c.before_run == last for c in self.cuts)
