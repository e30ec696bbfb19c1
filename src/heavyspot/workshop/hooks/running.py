"""Telling in the background, in a thread of its own: no receiver holds the bench, the post or the exchange up."""

from __future__ import annotations

import threading
from dataclasses import replace
from datetime import timedelta

from ...ledger.store.entries import now_utc
from ...quantities.clock import time_of, utc_text
from ...quantities.durable import make_folder, remove_folder
from ...quantities.errors import HeavyspotError
from ...quantities.file_lock import FileLock
from ..shop import Workshop
from ..shop_file import load_shop_file
from .registry import (
    FOLDER,
    Hook,
    all_hooks,
    fingerprint,
    keep_progress,
    path_of,
    pause_words,
    progress_of,
)
from .sending import Tried, send
from .waiting import Delivery, drop_old, due, put, queue_news

PAUSES_S = (5, 300, 1800, 7200, 18000, 36000, 50400, 72000, 86400)
"""After each failed try: three days in all, as the Standard Webhooks specification suggests."""

LONGEST_ASKED_S = 86400.0
"""What a receiver may ask for with Retry-After."""

AT_ONCE = 50
"""Deliveries to one hook in a round; then the next hook has its turn."""


class Telling:
    """Tells the hooks for as long as the program runs.

    Parameters
    ----------
    every_s : float
        Pause between looks at the ledger.
    pauses_s : sequence of float
        After each failed try.
    """

    def __init__(
        self, shop: Workshop, every_s: float = 2.0, pauses_s: tuple[float, ...] = PAUSES_S
    ) -> None:
        self.shop, self.every_s, self.pauses_s = shop, every_s, pauses_s
        self.fault = ""
        self._end = threading.Event()
        self._thread: threading.Thread | None = None

    def start(self) -> None:
        """Begin, once; with no hook a round looks into an empty folder."""
        if self._thread is None:
            self._end.clear()
            self._thread = threading.Thread(target=self._run, name="hooks", daemon=True)
            self._thread.start()

    def stop(self) -> None:
        """End; a try that is on its way is finished, or cut off."""
        self._end.set()
        thread, self._thread = self._thread, None
        if thread is not None:
            thread.join(12)

    def _run(self) -> None:
        while not self._end.wait(self.every_s):
            try:
                self.round()
                self.fault = ""
            except HeavyspotError as fault:
                self.fault = str(fault)
            except (
                Exception
            ) as fault:  # a full disk, a folder taken away: the rounds go on, and say what it was
                self.fault = f"{type(fault).__name__}: {fault!s:.200}"

    def round(self) -> None:
        """Queue what is new and send what is due; one program at a time on a data folder."""
        hooks = all_hooks(self.shop)
        if not hooks:
            return
        make_folder(self.shop.folder / FOLDER)
        lock = FileLock.take(self.shop.folder / FOLDER / "lock")
        if lock is None:
            return
        try:
            self._drop_ended()
            for hook in hooks:
                queue_news(self.shop, hook)
                self._tell(hook)
        finally:
            lock.release()

    def _tell(self, hook: Hook) -> None:
        networks = load_shop_file(self.shop.folder).hook_networks
        for delivery in due(self.shop, hook)[:AT_ONCE]:
            if pause_words(self.shop, hook) or self._end.is_set():
                return
            tried = send(
                hook.url, hook.secret, delivery.id, delivery.body.encode(),
                timestamp=int(time_of(now_utc()).timestamp()), networks=networks,
            )  # fmt: skip
            self._keep(hook, delivery, tried)
            if tried.gone:
                why = "The receiver says that it is gone (410)."
                so_far = progress_of(self.shop, hook)
                keep_progress(
                    self.shop, hook, replace(so_far, paused=why, paused_of=fingerprint(hook))
                )
                return
            if not tried.good:
                return  # who is away is not asked for each of many; the others wait their turn
        drop_old(self.shop, hook)

    def _drop_ended(self) -> None:
        """Take away what a round left of a hook that was ended meanwhile."""
        known = {h.id for h in all_hooks(self.shop)}
        for folder in (self.shop.folder / FOLDER).iterdir():
            if (
                folder.is_dir()
                and folder.name not in known
                and not path_of(self.shop, folder.name).exists()
            ):
                remove_folder(folder)

    def _keep(self, hook: Hook, delivery: Delivery, tried: Tried) -> None:
        tries = delivery.tries + 1
        now = now_utc()
        if tried.good or tried.gone or tries > len(self.pauses_s):
            state = "delivered" if tried.good else "given up"
            done = replace(delivery, state=state, tries=tries, answer=tried.answer, done_at=now)
            put(self.shop, hook, done)
            return
        pause = max(self.pauses_s[tries - 1], min(tried.wait_s, LONGEST_ASKED_S))
        later = utc_text(time_of(now) + timedelta(seconds=pause))
        put(self.shop, hook, replace(delivery, tries=tries, answer=tried.answer, next_at=later))
