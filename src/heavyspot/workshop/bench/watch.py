"""What is said while it spins: under the limit, over it, or an alarm; decided here, once for every screen.

Few alarms, each with one thing to do: shut the air. Never an interlock: the program stops nothing.
"""

from __future__ import annotations

from collections import deque
from dataclasses import dataclass, field, replace
from typing import Literal

import numpy as np
from numpy.typing import NDArray

from ...balance.cut.early import Early
from ...balance.limits import Limit
from ...quantities.arrays import Array
from ...quantities.said import Said
from .foresee import Foreseer

State = Literal["waiting", "as_expected", "under", "higher", "over", "pickup", "alarm"]

FAR_OVER = 3.0
"""Times the limit at which the air is to be shut (ours)."""

SOON_S = 2.0
"""An alarm is given when what rises would be there within this."""

RISING_FROM = 2.2
"""Times the limit from which a rise is an alarm: below it a critical speed that is passed looks the same (ours)."""

RISE_OVER_S = 0.6
"""How far back the rise is looked at."""

LEAST_RISES = 6
"""Values a rise is told from."""

STEADY = 0.95
"""A rise that has slowed to less than this of itself is ending."""

WORSE = 1.5
"""Times the piece's first run, in shares of the limit, from which what was ground made it worse (ours)."""

CLEARED_RPM = 10_000.0
"""An alarm stays until the rotor is slower than this."""

DOUBTFUL_SHARE = 0.75
"""Share of the newest turns with a trusted mark under which the pickup is in doubt (ours)."""

DOUBTFUL_S = 0.5
"""How long it has to be so: a single turn is not worth a word."""

HIGHER = 1.15
"""Times the highest expected from which it is higher than expected."""

LIKELY = 0.95
"""Computed chance from which it is said that the limit will be passed: of those nine in ten are (docs, proof)."""

OVER_RATED = 1.005
"""Share of the rated speed that is over it: a display's last figure is not."""


@dataclass(frozen=True)
class Expected:
    """The coming run as it was expected: speeds ascending, and what 95 of 100 stay under, g."""

    speed_rpm: tuple[float, ...]
    high_g: tuple[float, ...]

    def at(self, speed_rpm: float) -> float | None:
        """Return it at a speed; None outside what was foretold."""
        if not self.speed_rpm or not self.speed_rpm[0] <= speed_rpm <= self.speed_rpm[-1]:
            return None
        return float(np.interp(speed_rpm, self.speed_rpm, self.high_g))


@dataclass(frozen=True)
class Seen:
    """What is said of the spin at a moment.

    Attributes
    ----------
    share : float
        Of the limit at this speed; NaN while there is no trusted speed.
    line, sub : Said
    alarm : bool
    worst_g : float
        The highest over the limit so far, g; 0 while there is none.
    """

    state: State = "waiting"
    line: Said = field(default_factory=lambda: Said("bench.live.waiting"))
    sub: Said | None = None
    alarm: bool = False
    share: float = float("nan")
    worst_g: float = 0.0


@dataclass
class Watch:
    """Watches one spin, snapshot by snapshot.

    Parameters
    ----------
    limit : Limit
    from_rpm, rated_rpm : float
        The limit counts from here; no rotor turns faster than this.
    expected : Expected or None
    foreseer : Foreseer or None
    first_share : float
        The highest share of the limit in the piece's first whole run; infinite where there was none.
    """

    limit: Limit
    from_rpm: float
    rated_rpm: float
    expected: Expected | None = None
    foreseer: Foreseer | None = None
    first_share: float = float("inf")
    _early: Early | None = None
    _foreseen: int = -1
    _rise: deque[tuple[float, float]] = field(default_factory=deque)
    _far: int = 0
    _worse: int = 0
    _latched: Seen | None = None
    _doubtful_since: float | None = None
    _doubted: bool = False
    _higher: bool = False
    _worst: tuple[float, float] = (0.0, 0.0)

    def see(
        self, time_s: float, speed_rpm: float, amplitude_g: float, trusted_share: float
    ) -> Seen:
        """Return what is said now.

        Parameters
        ----------
        time_s : float
            Of the newest sample.
        speed_rpm, amplitude_g : float
            NaN while there is no trusted speed.
        trusted_share : float
            Of the newest turns, those with a trusted mark, 0 to 1.
        """
        known = bool(np.isfinite(speed_rpm) and np.isfinite(amplitude_g))
        if not known:
            return self._unseen(time_s)
        share = amplitude_g / float(self.limit.at(speed_rpm))
        counts = speed_rpm >= self.from_rpm
        self._note(time_s, speed_rpm, amplitude_g, share, counts=counts)
        seen = self._alarmed(speed_rpm, amplitude_g, share, counts=counts)
        if seen is None:
            seen = self._pickup(time_s, trusted_share) or self._plain(speed_rpm, amplitude_g, share)
        return replace(seen, share=share, worst_g=self._worst[0])

    def foresee(self, speed_rpm: Array, vector: NDArray[np.complex128]) -> None:
        """Take the first sensor's curve so far, (k,) each, and look ahead."""
        if (
            self.foreseer is not None and speed_rpm.size != self._foreseen
        ):  # nothing new while it slows
            self._foreseen = speed_rpm.size
            self._early = self.foreseer.word(speed_rpm, vector)

    def catch_up(self, curve: NDArray[np.float64]) -> None:
        """Take what was passed while nothing was heard: speeds and amplitudes of the run so far, (2, n).

        What was over the limit meanwhile is said as if it had been seen, an alarm too.
        """
        speed, g = curve
        if speed.size == 0:
            return
        if speed.max() > OVER_RATED * self.rated_rpm:
            values = {"speed_rpm": float(speed.max()), "rated_rpm": self.rated_rpm}
            self._latch("over_rated", values)
        share = np.where(speed >= self.from_rpm, g / self.limit.at(speed), 0.0)
        over = share > 1.0
        if not over.any():
            return
        i = int(np.where(over, g, 0.0).argmax())
        self._worst = max(self._worst, (float(g[i]), float(speed[i])))
        most = int(share.argmax())
        if (share >= FAR_OVER).sum() >= 2:  # once is a spike
            self._latch("far_over", {"times": float(share[most]), "amplitude_g": float(g[most])})
        elif (over & (share >= WORSE * self.first_share)).sum() >= 2:
            times = float(share[most]) / self.first_share
            self._latch("worse", {"amplitude_g": float(g[most]), "times": times})

    def _note(self, time_s: float, rpm: float, g: float, share: float, *, counts: bool) -> None:
        self._rise.append((time_s, share))
        while self._rise and time_s - self._rise[0][0] > RISE_OVER_S:
            self._rise.popleft()
        self._far = self._far + 1 if counts and share >= FAR_OVER else 0
        worse = counts and share > 1.0 and share >= WORSE * self.first_share
        self._worse = self._worse + 1 if worse else 0
        if counts and share > 1.0 and g > self._worst[0]:
            self._worst = (g, rpm)
        top = self.expected.at(rpm) if self.expected else None
        if counts and top is not None and g > HIGHER * top:
            self._higher = True

    def _alarmed(self, rpm: float, g: float, share: float, *, counts: bool) -> Seen | None:
        """Return the alarm, new or standing; it goes only when the rotor is slow."""
        if self._latched and rpm < CLEARED_RPM:
            self._latched = None
            self._rise.clear()
            self._far = self._worse = 0
        if rpm > OVER_RATED * self.rated_rpm:
            self._latch("over_rated", {"speed_rpm": rpm, "rated_rpm": self.rated_rpm})
        elif self._far >= 2:  # once is a spike
            self._latch("far_over", {"times": share, "amplitude_g": g})
        elif self._worse >= 2:
            self._latch("worse", {"amplitude_g": g, "times": share / self.first_share})
        elif (
            counts
            and share >= RISING_FROM
            and self._unforeseen(rpm, g)
            and self._soon() >= FAR_OVER
        ):
            self._latch("rising", {"amplitude_g": g, "seconds": SOON_S})
        return self._latched

    def _latch(self, why: str, values: dict[str, float]) -> None:
        if self._latched is None or self._latched.sub is None or why == "over_rated":
            sub = Said(f"bench.alarm.{why}", {**values})
            self._latched = Seen("alarm", Said("bench.alarm.shut_the_air"), sub, alarm=True)

    def _unforeseen(self, rpm: float, g: float) -> bool:
        """Whether it is higher than was expected: a peak that was foretold rises fast and ends."""
        top = self.expected.at(rpm) if self.expected else None
        return top is None or g > HIGHER * top

    def _soon(self) -> float:
        """Return what share of the limit it would be at if it rose on like this."""
        if len(self._rise) < LEAST_RISES:
            return 0.0
        t = np.array([a for a, _ in self._rise])
        y: Array = np.array([b for _, b in self._rise])
        span = t[-1] - t[0]
        if span < 0.5 * RISE_OVER_S:
            return 0.0
        middle = t > t[0] + span / 2
        before, now = (float(np.polyfit(t[m] - t[-1], y[m], 1)[0]) for m in (~middle, middle))
        if now < STEADY * before:  # it slows down: the top of a peak
            return 0.0
        return float(y[-1]) + max(now, 0.0) * SOON_S

    def _pickup(self, time_s: float, trusted_share: float) -> Seen | None:
        if trusted_share >= DOUBTFUL_SHARE:
            self._doubtful_since = None
        elif self._doubtful_since is None:
            self._doubtful_since = time_s
        elif time_s - self._doubtful_since >= DOUBTFUL_S:
            self._doubted = True
        if not self._doubted:
            return None
        return Seen("pickup", Said("bench.live.pickup"), Said("bench.live.pickup_sub"))

    def _unseen(self, time_s: float) -> Seen:
        """No trusted speed: an alarm stays, a mark that was there and went is said."""
        if self._latched:
            return self._latched
        if self._rise and time_s - self._rise[-1][0] > DOUBTFUL_S:
            return Seen("pickup", Said("bench.live.pickup"), Said("bench.live.pickup_sub"))
        return Seen()

    def _plain(self, rpm: float, g: float, share: float) -> Seen:
        if self._worst[0]:
            return Seen("over", Said("bench.live.over", {"worst_g": self._worst[0]}))
        if rpm < self.from_rpm and not self._higher:
            return Seen("under", Said("bench.live.starting"))
        early = self._early
        if early is not None and early.chance_over >= LIKELY and rpm < early.over_at_rpm:
            values = {"speed_rpm": round(early.over_at_rpm, -3), "highest_g": early.highest_g}
            return Seen("higher", Said("bench.live.will_be_over", values))
        if self._higher:
            return Seen("higher", Said("bench.live.higher"))
        if self.expected is not None:
            return Seen("as_expected", Said("bench.live.as_expected"))
        return Seen("under", Said("bench.live.under"))
