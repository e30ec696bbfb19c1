"""Hands free: a spin begins by itself when the mark moves, and ends when it has stopped."""

from __future__ import annotations

import time
from collections import deque
from collections.abc import Iterator

import numpy as np

from ...sources.live import Description, LiveBlock, LiveSource

LOOK_S = 0.1
"""The pickup's level is looked at over so long."""

MOVES = 4.0
"""Times the level of the standing rotor from which the mark moves (ours)."""

STANDS = 2.0
"""Times that level under which it stands again."""

MOVES_FOR, STANDS_FOR_S = 3, 2.0
"""Looks in a row before it moves, and how long before it has stopped: a knock is no spin."""

BEFORE_S = 1.0
"""What came before the mark was seen to move is kept: the first turns."""

WAITS_S = 600.0
"""A spin that was armed so long ago is armed no more: who stands there now?"""


class HandsFree:
    """A live source that yields nothing before the mark moves, and ends when it has stopped.

    Parameters
    ----------
    source : LiveSource
        With a channel of quantity ``phase``.
    waits_s : float
        How long it waits for the mark to move.

    Attributes
    ----------
    waiting : bool
        Open, and the mark has not moved yet.
    """

    def __init__(self, source: LiveSource, *, waits_s: float | None = None) -> None:
        self._source, self._waits_s = source, WAITS_S if waits_s is None else waits_s
        self._description = source.describe()
        channels = self._description.channels
        self._phase = next(i for i, c in enumerate(channels) if c.quantity == "phase")
        self._quiet = float("inf")
        self._moved = 0
        self._slow_s = 0.0
        self.waiting = True

    def describe(self) -> Description:
        """Return what the source delivers."""
        return self._description

    def open(self) -> None:
        """Start looking; raises as the source does."""
        self._source.open()

    def close(self) -> None:
        """Stop; safe to call from another thread, and twice."""
        self._source.close()

    def blocks(self) -> Iterator[LiveBlock]:
        """Yield the blocks of the spin, from a second before the mark moved."""
        rate = self._description.sample_rate_hz
        kept: deque[LiveBlock] = deque()
        looked: list[LiveBlock] = []
        until = time.monotonic() + self._waits_s
        for block in self._source.blocks():
            if self.waiting and time.monotonic() > until:
                return
            looked.append(block)
            if sum(b.data.shape[0] for b in looked) >= LOOK_S * rate:
                self._look(looked, rate)
                looked = []
            if self._slow_s >= STANDS_FOR_S:
                yield block
                return
            if not self.waiting:
                yield from kept
                kept.clear()
                yield block
                continue
            kept.append(block)
            while kept and kept[-1].first_sample - kept[0].first_sample > BEFORE_S * rate:
                kept.popleft()

    def _look(self, blocks: list[LiveBlock], rate: float) -> None:
        samples = np.concatenate([b.data[:, self._phase] for b in blocks]).astype(float)
        level = float(np.std(samples))
        if self.waiting:
            if self._moved == 0:
                self._quiet = min(self._quiet, level)
            self._moved = self._moved + 1 if level > MOVES * self._quiet else 0
            self.waiting = self._moved < MOVES_FOR
        elif level < STANDS * self._quiet:
            self._slow_s += samples.size / rate
        else:
            self._slow_s = 0.0
