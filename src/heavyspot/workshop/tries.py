"""Whose turn it is to try a password: one at a time a name, few at once, and after wrong ones a wait that doubles.

Each look at a password takes 64 MB and a core for a tenth of a second, on purpose. Without turns, many at once
would count too few of the wrong ones, and fill the memory.
"""

from __future__ import annotations

import hashlib
import threading
import time
from collections import Counter
from collections.abc import Iterator
from contextlib import contextmanager
from dataclasses import dataclass, field

from ..quantities.errors import BadInput
from ..quantities.said import Said

FREE_TRIES = 5
"""Wrong passwords of one name before it has to wait; the wait doubles from one second."""

AT_ONCE = 2
"""Passwords looked at in the same moment: 128 MB."""

WAITING, WAITING_OF_ONE = 8, 3
"""How many may wait for their turn, and how many of one address; more are sent away at once."""

UNKNOWN = 10_000
"""Names that are nobody's whose wrong passwords are remembered."""


@dataclass
class Turn:
    """One try: whoever has it says what came of it.

    Attributes
    ----------
    good : bool
        Whether the password was right; one that is not said to be is wrong.
    known : bool
        Whether the name is somebody's.
    """

    good: bool = False
    known: bool = False


@dataclass
class _Queue:
    lock: threading.Lock = field(default_factory=threading.Lock)
    waiting: int = 0


class Tries:
    """The wrong passwords of each name, and whose turn it is."""

    def __init__(self) -> None:
        self._lock = threading.Lock()
        self._hashing = threading.BoundedSemaphore(AT_ONCE)
        self._queues: dict[str, _Queue] = {}
        self._inside: Counter[str] = Counter()
        self._known: dict[str, tuple[int, float]] = {}
        self._unknown: dict[str, tuple[int, float]] = {}

    @contextmanager
    def turn(self, name: str, where: str = "") -> Iterator[Turn]:
        """Wait for a turn to try a name's password, and have it.

        Parameters
        ----------
        where : str
            Address that tries; empty for this computer's own commands.

        Raises
        ------
        BadInput
            Too many wait, or the name has to.
        """
        key = hashlib.sha256(name.encode(errors="surrogatepass")).hexdigest()
        with self._lock:
            of_one = self._inside[where] >= WAITING_OF_ONE if where else False
            if of_one or self._inside.total() >= WAITING:
                raise BadInput(
                    Said("refusal.many_are_logging_in_in"), remedy=Said("remedy.try_again_in_a_few")
                )
            self._inside[where] += 1
            queue = self._queues.setdefault(key, _Queue())
            queue.waiting += 1
        try:
            with queue.lock:
                self._refuse_early(key, name)
                turn = Turn()
                try:
                    with self._hashing:
                        yield turn
                finally:
                    self._count(key, turn)
        finally:
            with self._lock:
                queue.waiting -= 1
                if not queue.waiting:
                    self._queues.pop(key, None)
                self._inside[where] -= 1
                self._inside += Counter()  # drops who is gone

    @contextmanager
    def hashing(self) -> Iterator[None]:
        """Wait for the room to make a hash of a new password."""
        with self._hashing:
            yield

    def _refuse_early(self, key: str, name: str) -> None:
        with self._lock:
            tries, last = self._known.get(key) or self._unknown.get(key) or (0, 0.0)
        wait_s = 2.0 ** min(tries - FREE_TRIES, 9) if tries >= FREE_TRIES else 0.0
        left_s = last + wait_s - time.monotonic()
        if left_s > 0:
            raise BadInput(
                Said("refusal.too_many_wrong_passwords_for", {"name": name[:120]}),
                remedy=Said("remedy.try_again_in_s", {"left_s": left_s}),
            )

    def _count(self, key: str, turn: Turn) -> None:
        with self._lock:
            before = self._known.pop(key, None) or self._unknown.pop(key, None) or (0, 0.0)
            if turn.good:
                return
            # those of real names are never pushed out by names made up by the thousand
            table = self._known if turn.known else self._unknown
            table[key] = (before[0] + 1, time.monotonic())
            while len(self._unknown) > UNKNOWN:
                self._unknown.pop(next(iter(self._unknown)))
