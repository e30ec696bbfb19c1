"""The phase reference: from pickup samples to the moments at which the mark passed.

Two kinds. ``magnetic``: the near-sinusoid of a magnetised nut, amplitude growing with speed; the
mark passes at the positive-going zero crossing of its fundamental. ``pulse``: an optical or eddy
probe, one or more pulses a turn; the mark passes at the leading edge.

The edge finder is a comparator with hysteresis (a Schmitt trigger) whose levels follow the signal:
levels come from the extremes of the last seven windows of about 20 ms, the second largest of
them, so that one spike cannot move them. It looks at the past only: live and recorded data agree.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Literal

import numpy as np
from numpy.typing import NDArray

from ...quantities.arrays import Array
from ...quantities.errors import BadInput

HYSTERESIS = 0.3
"""Half width of the hysteresis as a share of the signal's half swing."""

_WINDOWS_KEPT = 7


@dataclass(frozen=True)
class ReferenceSettings:
    """What the phase channel is.

    Attributes
    ----------
    kind : "magnetic" or "pulse"
    pulses_per_turn : int
        Pulses in one turn; 1 for a magnetised nut with one pole pair.
    edge : "rising" or "falling"
        Which crossing or edge is the mark.
    """

    kind: Literal["magnetic", "pulse"] = "magnetic"
    pulses_per_turn: int = 1
    edge: Literal["rising", "falling"] = "rising"

    def __post_init__(self) -> None:
        if self.kind not in ("magnetic", "pulse"):
            raise BadInput(
                f"phase reference kind is {self.kind!r}.", remedy='Give "magnetic" or "pulse".'
            )
        if self.edge not in ("rising", "falling"):
            raise BadInput(f"edge is {self.edge!r}.", remedy='Give "rising" or "falling".')
        if not 1 <= int(self.pulses_per_turn) <= 360:
            raise BadInput(
                f"pulses_per_turn is {self.pulses_per_turn}.", remedy="Give 1 to 360 pulses a turn."
            )


class EdgeFinder:
    """Streaming comparator: windows of samples in, edge times out.

    Parameters
    ----------
    settings : ReferenceSettings
    window : int
        Samples in one level window (about 20 ms).

    Notes
    -----
    State carried between calls: the extremes of the last windows, whether the signal has been low
    since the last edge, and the last sample below the lower level.
    """

    def __init__(self, settings: ReferenceSettings, *, window: int) -> None:
        self.settings = settings
        self.window = window
        self._high: NDArray[np.float64] = np.empty(0)
        self._low: NDArray[np.float64] = np.empty(0)
        self._mean: NDArray[np.float64] = np.empty(0)
        self._all_high: list[NDArray[np.float64]] = []
        self._all_low: list[NDArray[np.float64]] = []
        self._start = 0
        self._low_at = -1.0  # position of the last sample below the lower level; -1: none yet
        self._low_value = 0.0
        self._low_level = 0.0
        self._was_high = True
        self._was_low = False

    def edges(self, samples: NDArray[np.float32]) -> NDArray[np.float64]:
        """Return the positions (in samples from the first ever fed) of the edges in `samples`.

        Parameters
        ----------
        samples : ndarray, shape (k * window,), float32
            The next samples of the phase channel; the edge wanted must be the rising one.
        """
        middle, swing = self._levels(samples)
        n_windows = middle.size
        shaped = samples.reshape(n_windows, self.window)
        upper = (middle + HYSTERESIS * swing).astype(np.float32)
        lower = (middle - HYSTERESIS * swing).astype(np.float32)
        high = (shaped > upper[:, None]).reshape(-1)
        low = (shaped < lower[:, None]).reshape(-1)
        enters_high = _rises(high, self._was_high)
        leaves_low = _rises(~low, not self._was_low) - 1  # the last sample that was low
        base = self._start

        # Only the first entry above the upper level after being below the lower one is an edge.
        low_at = np.concatenate([[self._low_at], base + leaves_low.astype(float)])
        low_value = np.concatenate([[self._low_value], _at(samples, leaves_low, self._low_value)])
        low_level = np.concatenate(
            [
                [self._low_level],
                _at(middle.astype(np.float64), leaves_low // self.window, self._low_level),
            ]
        )
        which = np.searchsorted(low_at, base + enters_high, side="left") - 1
        first = np.ones(which.size, bool)
        first[1:] = which[1:] != which[:-1]
        first &= low_at[which] >= 0
        which, enters = which[first], enters_high[first]

        y0 = low_value[which] - low_level[which]
        y1 = samples[enters].astype(np.float64) - middle[enters // self.window]
        x0 = low_at[which]
        x1 = base + enters.astype(float)
        found = x0 + (x1 - x0) * (-y0) / (y1 - y0)

        if first.any():  # the low spell that led to the last edge is used up
            last = which[-1]
            low_at, low_value, low_level = low_at[last:], low_value[last:], low_level[last:]
            low_at[0] = -1.0
        if low[-1]:
            self._low_at = base + samples.size - 1.0
            self._low_value = float(samples[-1])
            self._low_level = float(middle[-1])
        else:
            self._low_at, self._low_value = float(low_at[-1]), float(low_value[-1])
            self._low_level = float(low_level[-1])
        self._was_high, self._was_low = bool(high[-1]), bool(low[-1])
        self._start += samples.size
        return found

    @property
    def extremes(self) -> NDArray[np.float64]:
        """Lowest and highest value of each window so far, shape (windows, 2)."""
        if not self._all_low:
            return np.empty((0, 2))
        return np.stack([np.concatenate(self._all_low), np.concatenate(self._all_high)], axis=1)

    def _levels(
        self, samples: NDArray[np.float32]
    ) -> tuple[NDArray[np.float64], NDArray[np.float64]]:
        """Return middle and half swing of each window, from it and the six before it."""
        shaped = samples.reshape(-1, self.window)
        highest, lowest = (e.astype(np.float64) for e in (shaped.max(axis=1), shaped.min(axis=1)))
        self._all_high.append(highest)
        self._all_low.append(lowest)
        high = np.concatenate([self._high, highest])
        low = np.concatenate([self._low, lowest])
        mean = np.concatenate(
            [self._mean, shaped.mean(axis=1, dtype=np.float32).astype(np.float64)]
        )
        n = shaped.shape[0]
        second_high = -_second_smallest(-high, n)
        second_low = _second_smallest(low, n)
        if self.settings.kind == "pulse":
            middle = 0.5 * (second_high + second_low)
        else:
            middle = _trailing_mean(mean, n)
        swing = np.maximum(0.5 * (second_high - second_low), 1e-12)
        keep = _WINDOWS_KEPT - 1
        self._high, self._low, self._mean = high[-keep:], low[-keep:], mean[-keep:]
        return middle, swing


def _rises(state: NDArray[np.bool_], before: bool) -> NDArray[np.intp]:
    """Return the indices at which `state` turns true; `before` is the state just before it."""
    indices = np.flatnonzero(state[1:] > state[:-1]) + 1
    if state[0] and not before:
        indices = np.concatenate([[0], indices])
    return indices


def _at(values: Array, indices: NDArray[np.intp], before: float) -> NDArray[np.float64]:
    """Return ``values[indices]``, with `before` where an index is -1 (the sample already gone)."""
    taken = values[np.maximum(indices, 0)].astype(np.float64)
    return np.where(indices < 0, before, taken)


def _trailing(values: NDArray[np.float64], n: int) -> NDArray[np.float64]:
    """Return a view (n, 7) of the last seven values up to each of the last `n`."""
    missing = n + _WINDOWS_KEPT - 1 - values.size
    if missing > 0:
        values = np.concatenate([np.full(missing, values[0]), values])
    return np.lib.stride_tricks.sliding_window_view(values, _WINDOWS_KEPT)[-n:]


def _second_smallest(values: NDArray[np.float64], n: int) -> NDArray[np.float64]:
    return np.partition(_trailing(values, n), 1, axis=1)[:, 1]


def _trailing_mean(values: NDArray[np.float64], n: int) -> NDArray[np.float64]:
    return _trailing(values, n).mean(axis=1)
