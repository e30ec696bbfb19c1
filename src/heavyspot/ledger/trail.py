"""How far a long check came: one that was stopped goes on there, and says what it did not read again.

A mark is a convenience and no proof. It says how many things were read from the first on with nothing wrong, and
holds one digest over what they are called, so that a list which is another one now is read from its start. That
one of them was changed after it was read, no mark can know: who goes on from one says what was read when.
"""

from __future__ import annotations

import hashlib
import time
from collections.abc import Callable, Iterable
from dataclasses import dataclass

from ..quantities.clock import now, utc_text

EVERY_S = 2.0
"""How often a mark is kept on the way: what a killed check does twice."""


@dataclass(frozen=True)
class Mark:
    """Where a check came to.

    Attributes
    ----------
    number : int
        Things read from the first on, each with nothing wrong.
    digest : str
        SHA-256 over their names, in order.
    began, at : str
        When the first and when the last of them was read, UTC.
    """

    number: int
    digest: str
    began: str
    at: str


class Trail:
    """A check on its way over things that have an order.

    Parameters
    ----------
    mark : Mark, optional
        Where an earlier run was stopped.
    keep : callable, optional
        Told a mark now and then, and when `leave` is called.
    tell : callable, optional
        Told the earlier mark when it is gone on from; None when it does not fit.
    """

    def __init__(
        self,
        mark: Mark | None = None,
        keep: Callable[[Mark], None] = lambda mark: None,
        tell: Callable[[Mark | None], None] = lambda mark: None,
    ) -> None:
        self._mark, self._keep, self._tell = mark, keep, tell
        self._began = self._at = utc_text(now())
        self._number, self._over = 0, hashlib.sha256()
        self._whole, self._next = True, time.monotonic() + EVERY_S

    def skip(self, names: Iterable[str]) -> int:
        """Return how many of the first things are behind the mark: none where these are not what it was made of."""
        mark, over, number = self._mark, hashlib.sha256(), 0
        if mark is None or mark.number < 1:
            return 0
        for name in names:
            over.update(_spelled(name))
            number += 1
            if number == mark.number:
                break
        if number != mark.number or over.hexdigest() != mark.digest:
            self._tell(None)
            return 0
        self._over, self._number = over, number
        self._began, self._at = mark.began, mark.at
        self._tell(mark)
        return number

    def passed(self, name: str) -> None:
        """Say that the next thing was read and nothing was wrong with it."""
        if not self._whole:
            return
        self._over.update(_spelled(name))
        self._number, self._at = self._number + 1, utc_text(now())
        if time.monotonic() >= self._next:
            self.leave()
            self._next = time.monotonic() + EVERY_S

    def failed(self) -> None:
        """Say that something was wrong: the mark stays before it, so that the next run finds it too."""
        self._whole = False

    def leave(self) -> None:
        """Keep the mark as it is now."""
        if self._number:
            self._keep(Mark(self._number, self._over.hexdigest(), self._began, self._at))


def _spelled(name: str) -> bytes:
    """Return a name with its length before it, so that no two lists are spelled the same."""
    written = name.encode()
    return f"{len(written)}:".encode() + written
