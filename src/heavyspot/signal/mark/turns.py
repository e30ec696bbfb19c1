"""From edge times to the turn angle at any moment.

Single faults are bridged: an interval of twice or three times its neighbours gets the missing
edges, an edge that cuts an interval in two is dropped. What is not regular even then is marked and
never used. Edge times are then smoothed over about 18 ms, one period of the mains between 50 and
60 Hz: hum shifts every zero crossing of a small pickup signal, and a rotor cannot follow that. The
mean is taken twice (``2 S - S S``, Tukey's twicing), which leaves a steady acceleration without
error. Between edges the turn count is a cubic (Hermite with three-point slopes), so that a
steady acceleration leaves no error: linear interpolation would be wrong by ``alpha T² / 8``
mid-turn (Fyfe and Munck, Mech. Systems and Signal Processing 11 (1997) 187, on why the
interpolation matters).
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from ...quantities.arrays import Array

SMOOTH_S = 0.0092
"""Half the smoothing window, s."""

LOOK_AHEAD = 12
"""Edges that must follow before an edge is judged: its neighbours, theirs, and a row of edges too many; so no
judgement depends on the chunking."""

UNEVEN = 0.1
"""Change from one interval to the next that no rotor makes within a turn."""

NOISE_GROUP = 16
"""Marks over which the noise of a mark is averaged."""

_REGULAR = 0.3
_BRIDGE = 0.2
_BEHIND = 12


@dataclass(frozen=True)
class EdgeCounts:
    """How often the reference had to be repaired."""

    edges: int = 0
    missing_bridged: int = 0
    doubled_dropped: int = 0


class TurnClock:
    """Streaming turn counter: edge times in, turn angle at any sample position out.

    Parameters
    ----------
    edges_per_turn : int
    longest_turn : float
        Samples in the slowest turn that is still followed.
    smooth : float
        Half the smoothing window, samples; 0 for none.
    """

    def __init__(self, *, edges_per_turn: int, longest_turn: float, smooth: float = 0.0) -> None:
        self.edges_per_turn = edges_per_turn
        self.longest_turn = longest_turn
        self.smooth = smooth
        self.counts = EdgeCounts()
        self._uneven: list[NDArray[np.float64]] = []
        self._edge_noise: list[NDArray[np.float64]] = []
        self._unjudged: NDArray[np.float64] = np.empty(0)  # marks whose noise is not taken yet
        self._raw: NDArray[np.float64] = np.empty(0)
        self._behind = 0  # how many of the raw edges were judged before
        self._time: NDArray[np.float64] = np.empty(0)
        self._turn: NDArray[np.float64] = np.empty(0)
        self._good: NDArray[np.bool_] = np.empty(0, bool)
        self._next_index = 0

    def add(self, edges: NDArray[np.float64], *, final: bool = False) -> None:
        """Take the next edges, in order; with `final` the last ones are judged too."""
        raw = np.concatenate([self._raw, edges])
        first = self._behind
        last = raw.size if final else max(first, raw.size - LOOK_AHEAD)
        if last > first:
            self._judge(raw, first, last)
        keep = max(0, last - _BEHIND)
        self._raw, self._behind = raw[keep:], last - keep

    def _judge(self, raw: NDArray[np.float64], first: int, last: int) -> None:
        gap = np.diff(raw)
        if gap.size == 0:
            self._append(raw[first:last], np.zeros(last - first, bool))
            return
        if self._plainly_regular(gap, raw, first, last):
            self._append(raw[first:last], np.ones(last - first, bool))
            return
        self._note_uneven(gap, raw, first, last)
        usual = np.median(_neighbours(gap, 4), axis=1)
        odd = np.abs(gap / usual - 1) > _REGULAR
        chaotic = _neighbours(odd.astype(np.int8), 4, fill=1).sum(axis=1) >= 5
        in_turn = usual * self.edges_per_turn <= self.longest_turn
        # gap[i] is the one after edge i; an edge is good when the gaps on both sides are
        time, good = raw[first:last], np.ones(last - first, bool)
        after = np.minimum(np.arange(first, last), gap.size - 1)
        before = np.maximum(np.arange(first, last) - 1, 0)
        if (
            odd[before].any()
            or odd[after].any()
            or chaotic[after].any()
            or not in_turn[after].all()
        ):
            good = ~(chaotic[after] | chaotic[before]) & in_turn[after] & in_turn[before]
            time, good = self._bridge(raw, gap, usual, odd, chaotic, first, last, good)
        self._append(time, good)

    def _note_uneven(
        self, gap: NDArray[np.float64], raw: NDArray[np.float64], first: int, last: int
    ) -> None:
        at = np.arange(max(first, 1), min(last, gap.size))
        change = np.abs(gap[at] / np.maximum(gap[at - 1], 1e-9) - 1)
        self._uneven.append(raw[at[change > UNEVEN]])

    @property
    def uneven(self) -> NDArray[np.float64]:
        """Positions of the edges before and after which the intervals differ by more than a rotor can."""
        return np.concatenate(self._uneven) if self._uneven else np.empty(0)

    def _plainly_regular(
        self, gap: NDArray[np.float64], raw: NDArray[np.float64], first: int, last: int
    ) -> bool:
        """Whether no interval can be odd: a quick test that never disagrees with the full one.

        Steps under 6 % keep every interval within 1.06⁴ of its neighbours up to four away.
        """
        if first == 0 or last == raw.size or gap.size < 2:
            return False
        change = gap[1:] / np.maximum(gap[:-1], 1e-9)
        return bool(
            change.min() > 1 / 1.06
            and change.max() < 1.06
            and gap.max() * self.edges_per_turn * 1.3 < self.longest_turn
        )

    def _bridge(
        self,
        raw: NDArray[np.float64],
        gap: NDArray[np.float64],
        usual: NDArray[np.float64],
        odd: NDArray[np.bool_],
        chaotic: NDArray[np.bool_],
        first: int,
        last: int,
        good: NDArray[np.bool_],
    ) -> tuple[NDArray[np.float64], NDArray[np.bool_]]:
        """Drop edges that split an interval, fill intervals that lost one or two."""
        alone = odd & ~chaotic
        pair = gap[:-1] + gap[1:]
        splits = np.zeros(raw.size, bool)  # edge i + 1 splits the interval from i to i + 2
        splits[1:-1] = (
            alone[:-1]
            & alone[1:]
            & (gap[:-1] < usual[:-1] * (1 - _REGULAR))
            & (np.abs(pair / usual[:-1] - 1) < _BRIDGE)
        )
        splits = _every_other(
            splits
        )  # the mark between two edges too many divides their pair alike
        lost = np.clip(np.rint(gap / usual), 1, 4)
        fill = alone & (lost >= 2) & (lost <= 3) & (np.abs(gap / (lost * usual) - 1) < _BRIDGE)
        missing = np.where(fill, lost - 1, 0).astype(int)
        repaired = fill | ~odd
        repaired[:-1] |= splits[1:-1]
        repaired[1:] |= splits[1:-1]
        broken = np.zeros(raw.size, bool)  # both ends of an interval that cannot be explained
        broken[:-1] = ~repaired
        broken[1:] |= ~repaired
        good = good & ~broken[first:last]
        times: list[NDArray[np.float64]] = []
        goods: list[NDArray[np.bool_]] = []
        start = first
        for i in np.flatnonzero((missing > 0) | splits[:-1]).tolist():
            if not first <= i < last:
                continue
            if splits[i]:
                times.append(raw[start:i])
                goods.append(good[start - first : i - first])
                start = i + 1
            elif i + 1 < raw.size:
                times.append(raw[start : i + 1])
                goods.append(good[start - first : i + 1 - first])
                k = missing[i]
                times.append(raw[i] + gap[i] * np.arange(1, k + 1) / (k + 1))
                goods.append(np.ones(k, bool))
                start = i + 1
        times.append(raw[start:last])
        goods.append(good[start - first :])
        time, ok = np.concatenate(times), np.concatenate(goods)
        self.counts = EdgeCounts(
            self.counts.edges,
            self.counts.missing_bridged + int(missing[first : min(last, gap.size)].sum()),
            self.counts.doubled_dropped + int(splits[first:last].sum()),
        )
        return time, ok

    def _append(self, time: NDArray[np.float64], good: NDArray[np.bool_]) -> None:
        index = self._next_index + np.arange(time.size)
        self._next_index += time.size
        mark = index % self.edges_per_turn == 0
        self.counts = EdgeCounts(
            self.counts.edges + time.size, self.counts.missing_bridged, self.counts.doubled_dropped
        )
        self._time = np.concatenate([self._time, time[mark]])
        self._turn = np.concatenate([self._turn, index[mark] / self.edges_per_turn])
        self._good = np.concatenate([self._good, good[mark]])

        self._note_edge_noise(np.where(good[mark], time[mark], np.nan))

    def _note_edge_noise(self, time: NDArray[np.float64]) -> None:
        """Take the noise of single marks from their third differences: a turning rotor has next to none.

        White noise of variance s² gives third differences of variance 20 s².
        """
        t = np.concatenate([self._unjudged, time])
        groups = (t.size - 3) // NOISE_GROUP
        if groups < 1:
            self._unjudged = t
            return
        used = groups * NOISE_GROUP
        third = np.diff(t[: used + 3], 3)
        turn = (t[3 : used + 3] - t[:used]) / 3.0
        noise = (2 * np.pi / turn) ** 2 * third**2 / 20.0
        shaped = noise.reshape(groups, NOISE_GROUP)
        whole = np.isfinite(shaped).all(axis=1)
        at = t[:used].reshape(groups, NOISE_GROUP)[:, 0]
        self._edge_noise.append(np.stack([at[whole], shaped[whole].mean(axis=1)], axis=1))
        self._unjudged = t[used:]

    @property
    def edge_noise(self) -> NDArray[np.float64]:
        """Where, samples, and the variance of a single mark's angle there, rad²; shape (k, 2)."""
        return np.concatenate(self._edge_noise) if self._edge_noise else np.empty((0, 2))

    @property
    def known_until(self) -> float:
        """The sample position up to which the turn angle can be given; -inf when not yet."""
        n = self._time.size
        if n < 4:
            return -np.inf
        needed = 3 + 2 * int(self.smooth / max(float(self._time[-1] - self._time[-2]), 1.0) * 1.1)
        return float(self._time[-needed]) if n > needed else -np.inf

    def forget_before(self, position: float) -> None:
        """Drop edges no longer needed for positions from `position` on."""
        first = int(np.searchsorted(self._time, position))
        margin = 8
        if 0 < first < self._time.size:
            margin += 5 * int(
                self.smooth / max(float(self._time[first] - self._time[first - 1]), 1.0)
            )
        keep = max(0, first - margin)
        self._time, self._turn = self._time[keep:], self._turn[keep:]
        self._good = self._good[keep:]

    def turns_at(
        self, position: NDArray[np.float64]
    ) -> tuple[NDArray[np.float64], NDArray[np.bool_]]:
        """Return the turn count at each position and whether it may be trusted.

        Parameters
        ----------
        position : ndarray, shape (n,), ascending
            Sample positions.
        """
        time, turn = self._smoothed(), self._turn
        if time.size < 4:
            return np.zeros(position.size), np.zeros(position.size, bool)
        step = np.diff(time)
        step = np.where(step > 0, step, 1.0)
        rise = np.diff(turn) / step
        slope = np.empty(time.size)
        slope[1:-1] = (rise[:-1] * step[1:] + rise[1:] * step[:-1]) / (step[:-1] + step[1:])
        slope[0], slope[-1] = rise[0], rise[-1]
        k = np.clip(np.searchsorted(time, position, side="right") - 1, 0, time.size - 2)
        inside = (position >= time[1]) & (position < time[-2])
        ok = inside & self._good[k] & self._good[k + 1]
        h = step[k]
        u = (position - time[k]) / h
        u = np.where(inside, u, 0.0)
        s0, s1 = slope[k] * h, slope[k + 1] * h
        d = turn[k + 1] - turn[k]
        value = turn[k] + u * (s0 + u * ((3 * d - 2 * s0 - s1) + u * (s0 + s1 - 2 * d)))
        return value, ok

    def _smoothed(self) -> NDArray[np.float64]:
        """Return the edge times, smoothed where all neighbours are good."""
        n = self._time.size
        if n < 8 or self.smooth <= 0:
            return self._time
        t = self._time - self._time[0]
        k = np.arange(n)
        reach = (self.smooth / np.maximum(np.gradient(t), 1.0)).astype(int)
        reach = np.minimum(reach, np.minimum(k, n - 1 - k))
        bad = np.concatenate([[0], np.cumsum(~self._good)])
        wide = np.minimum(2 * reach, np.minimum(k, n - 1 - k))
        reach[bad[k + wide + 1] - bad[k - wide] > 0] = 0
        once = _box(t, reach)
        return self._time[0] + 2 * once - _box(once, reach)


def _box(values: NDArray[np.float64], reach: NDArray[np.intp]) -> NDArray[np.float64]:
    """Return the mean over ``[i - reach, i + reach]``."""
    total = np.concatenate([[0.0], np.cumsum(values)])
    i = np.arange(values.size)
    return (total[i + reach + 1] - total[i - reach]) / (2 * reach + 1)


def _every_other(flags: NDArray[np.bool_]) -> NDArray[np.bool_]:
    """Return the first, third, fifth of each row of flags that stand side by side."""
    i = np.arange(flags.size)
    before = np.maximum.accumulate(np.where(flags, -1, i))  # the last one that was not set
    return np.asarray(flags & ((i - before) % 2 == 1))


def _neighbours(values: Array, reach: int, fill: float | None = None) -> Array:
    """Return (n, 2 reach + 1): each value with its neighbours; edges repeat the end or `fill`."""
    if fill is None:
        padded = np.pad(values, reach, mode="edge")
    else:
        padded = np.pad(values, reach, constant_values=fill)
    return np.lib.stride_tricks.sliding_window_view(padded, 2 * reach + 1)
