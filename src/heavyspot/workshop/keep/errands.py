"""Errands the program runs by itself while it is open: exchanging with the main house, handing recordings over."""

from __future__ import annotations

import threading

from ...quantities.errors import HeavyspotError
from ..shop import Workshop
from ..station import exchange, joined_of, line_of

LONGEST_PAUSE_S = 600.0


class Errands:
    """Exchanges, and hands recordings over, in a thread of its own for as long as the program runs.

    Parameters
    ----------
    every_s : float
        Pause between rounds; it doubles while something is away, up to ten minutes.

    Attributes
    ----------
    fault : str
        What is away; empty when nothing is.
    """

    def __init__(self, shop: Workshop, every_s: float = 20.0) -> None:
        self.shop, self.every_s = shop, every_s
        self.fault = ""
        self._end = threading.Event()
        self._thread = threading.Thread(target=self._run, name="errands", daemon=True)

    def start(self) -> None:
        """Begin, when there is anything to do: this store is a station, or recordings have a location."""
        if joined_of(self.shop.book.folder) or self.shop.book.archive.url:
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
                joined = joined_of(self.shop.book.folder)
                if joined:
                    exchange(self.shop, line_of(joined))
                self.shop.book.archive.hand_over(stop=self._end.is_set)
                self.fault, pause = "", self.every_s
            except HeavyspotError as fault:
                self.fault = str(fault)
                pause = min(LONGEST_PAUSE_S, max(self.every_s, 2 * pause))
