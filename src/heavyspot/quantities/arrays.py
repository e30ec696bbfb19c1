"""Array types, and an array that grows; shape and unit stand in the docstring of the function that uses one."""

from __future__ import annotations

from typing import Any

import numpy as np
from numpy.typing import NDArray

Array = NDArray[Any]


class Growing:
    """An array that is added to along one axis.

    It grows by a quarter when it is full: half an hour of samples leaves no thousands of small pieces behind, and
    is never there twice. What was looked at before stays as it was.
    """

    def __init__(self, axis: int = 0) -> None:
        self._axis = axis
        self._held: Array | None = None
        self._size = 0

    def add(self, part: Array) -> None:
        """Add to the end; all parts have the first one's kind and other sizes."""
        until = self._size + part.shape[self._axis]
        if self._held is None or until > self._held.shape[self._axis]:
            room = list(part.shape)
            room[self._axis] = max(until, 5 * self._size // 4)
            grown = np.empty(room, part.dtype)
            if self._held is not None:
                grown[self._until(self._size)] = self._held[self._until(self._size)]
            self._held = grown
        self._held[self._until(until)][self._until(None, self._size)] = part
        self._size = until

    def so_far(self) -> Array:
        """Return what was added until now; raises `ValueError` when nothing was."""
        if self._held is None:
            raise ValueError("nothing was added")
        return self._held[self._until(self._size)]

    def __len__(self) -> int:
        return self._size

    def _until(self, stop: int | None, start: int = 0) -> tuple[slice, ...]:
        return (*(slice(None),) * self._axis, slice(start, stop))
