"""What the advice rests on, and what it says."""

from __future__ import annotations

from dataclasses import dataclass, field, fields
from typing import Literal

import numpy as np
from numpy.typing import NDArray

from ...quantities.content import ByContent
from ...quantities.said import Said, in_words_each
from ..limits import Judgement
from ..plane import Plane
from .candidates import AdvisedCut
from .doubt import Explanation
from .history import History, Scatter
from .prior import Guess, ResponsePrior

FloatArray = NDArray[np.float64]
Action = Literal["cut", "spin_again", "fix", "stop"]


@dataclass(frozen=True, eq=False)
class Prediction(ByContent):
    """The next run as expected: median and the band that holds 90 %; one row a point of the history.

    `sensor` is the place of each point's sensor, 0 for the first.
    """

    speed_rpm: FloatArray
    amplitude_g: FloatArray
    low_g: FloatArray
    high_g: FloatArray
    sensor: NDArray[np.intp]

    def of(self, sensor: int) -> Prediction:
        """Return the part of one sensor."""
        mine = self.sensor == sensor
        return Prediction(*(getattr(self, f.name)[mine] for f in fields(self)))


@dataclass(frozen=True)
class Alternative:
    """Something else that could be done; no cuts means leaving it as it is."""

    cuts: tuple[AdvisedCut, ...]
    chance_of_pass: float
    expected_ratio: float


@dataclass(frozen=True, kw_only=True)
class Advice:
    """What to do next.

    Attributes
    ----------
    action : "cut", "spin_again", "fix" or "stop"
    cuts : tuple of AdvisedCut
    predicted : Prediction or None
    chance_of_pass : float
        Chance that the next run is judged a pass, 0 to 1.
    expected_ratio : float
        Expected highest ratio to the limit of the next run.
    trial : bool
        Whether the cut rests on a guess and is meant to learn from.
    why : tuple of Said
        Sentences, one after the other.
    one_more : tuple of AdvisedCut
        After a pass: cuts that would still lower the curve usefully; empty when none would.
    others : tuple of Alternative
        What else could be done: one cut, several, or none.
    computed_chance : float
        The chance before the shop's own record of kept chances corrected it.
    doubts : tuple of Explanation
        Where the last cut cannot have been what is recorded: what may have been, likeliest first.
    """

    action: Action
    cuts: tuple[AdvisedCut, ...]
    predicted: Prediction | None
    chance_of_pass: float
    expected_ratio: float
    trial: bool
    why: tuple[Said, ...]
    one_more: tuple[AdvisedCut, ...] = ()
    others: tuple[Alternative, ...] = ()
    computed_chance: float = 0.0
    doubts: tuple[Explanation, ...] = ()

    @property
    def reason(self) -> str:
        """`why` in words."""
        return in_words_each(self.why)

    @classmethod
    def fix(cls, *why: Said, expected_ratio: float = 0.0) -> Advice:
        """Advise to mend something first: no cut by this run."""
        return cls._without_cut("fix", why, expected_ratio=expected_ratio)

    @classmethod
    def spin_again(cls, *why: Said, expected_ratio: float = 0.0) -> Advice:
        """Advise another run before any cut."""
        return cls._without_cut("spin_again", why, expected_ratio=expected_ratio)

    @classmethod
    def stop(cls, *why: Said, chance: float = 0.0, expected_ratio: float) -> Advice:
        """Advise to leave it as it is."""
        return cls._without_cut("stop", why, chance=chance, expected_ratio=expected_ratio)

    @classmethod
    def _without_cut(
        cls,
        action: Action,
        why: tuple[Said, ...],
        *,
        chance: float = 0.0,
        expected_ratio: float = 0.0,
    ) -> Advice:
        return cls(
            action=action,
            cuts=(),
            predicted=None,
            chance_of_pass=chance,
            expected_ratio=expected_ratio,
            trial=False,
            why=why,
        )


@dataclass(frozen=True)
class Situation:
    """Everything the advice rests on.

    Attributes
    ----------
    history : History
    planes : tuple of Plane
        In the order the shop prefers them.
    priors : dict of plane -> ResponsePrior
        From other units; planes without one get a wide prior.
    guesses : dict of plane -> Guess
        What like models let expect, to place trial cuts by.
    limit_g : ndarray, shape (n,)
        On the history's speeds.
    judgement : Judgement
        Of the last run.
    reached : bool
        Whether the last run reached test speed.
    test_speed_rpm : float
    scatter : Scatter
    guard : float
        Share of the amplitude that a pass must stay clear of the limit by (expanded uncertainty).
    sensor_lag_deg : float or None
        Angle the rotor turns from the pickup to the sensor; None where nobody said.
    most_cuts : int
        1 to 3 cuts before the next run.
    """

    history: History
    planes: tuple[Plane, ...]
    priors: dict[str, ResponsePrior]
    limit_g: FloatArray
    judgement: Judgement
    reached: bool
    test_speed_rpm: float
    scatter: Scatter = field(default_factory=Scatter)
    guard: float = 0.055
    sensor_lag_deg: float | None = None
    most_cuts: int = 2
    seed: int = 0
    guesses: dict[str, Guess] = field(default_factory=dict)

    @property
    def first_ratio(self) -> float:
        """Highest ratio to the limit of the first run."""
        return float((np.abs(self.history.vectors[0]) / self.limit_g).max())

    def cut_planes(self) -> set[str]:
        """Return the names of the planes cut so far."""
        return {c.plane for c in self.history.cuts}
