"""Errands the program runs by itself while it is open: exchanging with the main house, handing over, the post."""

from __future__ import annotations

import threading
from collections.abc import Callable, Sequence
from datetime import UTC, datetime, timedelta

from ...ledger.store.entries import now_utc
from ...quantities.clock import time_of, utc_minute
from ...quantities.errors import HeavyspotError, SourceLost
from ..heads import new_head, own_heads
from ..shop import Workshop
from ..shop_file import load_shop_file
from ..station import exchange, joined_of, line_of

LONGEST_PAUSE_S = 600.0

STAMP_EVERY = timedelta(hours=24)
"""How often a ledger that grew is time stamped, where the shop has a service (ours)."""


class Errands:
    """Exchanges, hands recordings over and sends letters, in a thread of its own for as long as the program runs.

    Parameters
    ----------
    every_s : float
        Pause between rounds; it doubles while something is away, up to ten minutes.
    also : sequence of callable
        Further errands of a round, the post.

    Attributes
    ----------
    fault : str
        What is away; empty when nothing is.
    since : str
        UTC: when a round last went well, or the program began.
    """

    def __init__(
        self,
        shop: Workshop,
        every_s: float = 20.0,
        also: Sequence[Callable[[Workshop], object]] = (),
    ) -> None:
        self.shop, self.every_s, self.also = shop, every_s, also
        self.fault, self.since = "", now_utc()
        self._end = threading.Event()
        self._thread = threading.Thread(target=self._run, name="errands", daemon=True)

    def start(self) -> None:
        """Begin, when there is anything to do: this store is a station, or recordings have a location."""
        settings = load_shop_file(self.shop.folder)
        away = self.shop.book.archive.url or settings.timestamp_url or settings.mail_host
        if joined_of(self.shop.book.folder) or away:
            self._thread.start()

    def stop(self) -> None:
        """End; a round that runs is finished."""
        self._end.set()
        if self._thread.is_alive():
            self._thread.join(10)

    def _run(self) -> None:
        pause = 0.0
        while not self._end.wait(pause):
            try:
                for errand in self.also:  # before what may be away: each bears its own faults
                    errand(self.shop)
                joined = joined_of(self.shop.book.folder)
                if joined:
                    exchange(self.shop, line_of(joined))
                self.shop.book.archive.hand_over(stop=self._end.is_set)
                stamp_daily(self.shop)
                self.fault, self.since, pause = "", now_utc(), self.every_s
                continue
            except HeavyspotError as fault:
                self.fault = str(fault)
            except Exception as fault:  # whatever a network's own page sends: the rounds go on, and say what it was
                self.fault = (
                    f"What came was not understood ({type(fault).__name__}: {fault!s:.200})."
                )
            pause = min(LONGEST_PAUSE_S, max(self.every_s, 2 * pause))

    def words(self) -> str:
        """Return what is away and since when nothing arrived; empty when all is well."""
        if not self.fault:
            return ""
        return f"{self.fault} Nothing has arrived since {utc_minute(self.since)} UTC."


def stamp_daily(shop: Workshop) -> None:
    """Time stamp the ledger's newest link once a day, where it grew and the shop has a service.

    Raises
    ------
    SourceLost
        The service does not answer, or what it answers is no time stamp.
    """
    if not load_shop_file(shop.folder).timestamp_url:
        return
    stamped = next((h for h in own_heads(shop) if h.stamp), None)
    if stamped is not None:
        young = datetime.now(UTC) - time_of(stamped.at) < STAMP_EVERY
        if young or stamped.number == shop.book.head()[0]:
            return
    _, fault = new_head(shop)
    if fault:
        raise SourceLost(fault, remedy="")
