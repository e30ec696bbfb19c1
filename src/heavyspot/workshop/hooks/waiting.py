"""Deliveries: one file each on the disk, from before the first try until after the last, with what came of it.

What is to be told follows from the ledger: a hook remembers up to which link everything is queued. A power cut
anywhere leaves a link that is not queued yet, or a file that is not sent yet; either is taken up again.
"""

from __future__ import annotations

import json
from dataclasses import asdict, dataclass, replace
from pathlib import Path

from ...ledger.find.pages import Mark
from ...ledger.store.entries import now_utc
from ...ledger.store.identity import new_id
from ...quantities.durable import make_folder, remove, write_text
from ...quantities.errors import HeavyspotError, LedgerAway, NotThere, Stale
from ..shop import Workshop
from .registry import (
    Hook,
    all_hooks,
    find_hook,
    folder_of,
    keep_progress,
    pause_words,
    progress_of,
)
from .told import events_of

WAITING, OVER = "waiting", "over"
"""Parts of a hook's folder."""

KEPT = 500
"""Deliveries of a hook that are over and still shown."""


@dataclass(frozen=True)
class Delivery:
    """Something to tell a hook.

    Attributes
    ----------
    id : str
        The header ``webhook-id``: the same at every try.
    event, body : str
    at : str
        When it was queued, UTC.
    state : str
        ``waits``, ``delivered`` or ``given up``.
    tries : int
    next_at : str
        UTC: not tried before.
    answer : str
        What came of the last try: a status, or why there was none.
    done_at : str
        When it was over, UTC.
    """

    id: str
    event: str
    body: str
    at: str
    state: str = "waits"
    tries: int = 0
    next_at: str = ""
    answer: str = ""
    done_at: str = ""


def queue_news(shop: Workshop, hook: Hook) -> None:
    """Queue what was written since for a hook.

    First the files, then how far: a cut between makes the same files again, and nothing was sent of them yet.
    """
    progress = progress_of(shop, hook)
    try:
        news = shop.book.news.since(progress.mark)
    except Stale:
        fault = f"{now_utc()}: the ledger went on from a backup; what was written just before is not told."
        keep_progress(shop, hook, replace(progress, mark=Mark(*shop.book.head()), fault=fault))
        return
    for new in news:
        try:
            events = [e for e in events_of(shop, new) if e.event in hook.events]
        except LedgerAway:
            raise
        except HeavyspotError as fault:  # an entry that cannot be read holds up no other
            said = f"{now_utc()}: link {new.mark.number} is not told: {fault.message}"
            progress = replace(progress, fault=said)
            continue
        for e in events:
            put(shop, hook, Delivery(f"msg_{e.key}", e.event, e.body, now_utc(), next_at=now_utc()))
    if news:
        keep_progress(shop, hook, replace(progress, mark=news[-1].mark))


def queue_test(shop: Workshop, id_: str) -> Delivery:
    """Queue a word that tells nothing, to see whether it arrives; raises `NotThere` when there is no such hook."""
    hook = find_hook(shop, id_)
    body = json.dumps({"type": "test", "timestamp": now_utc(), "data": {}})
    delivery = Delivery(f"msg_test_{new_id()}", "test", body, now_utc(), next_at=now_utc())
    put(shop, hook, delivery)
    return delivery


def deliveries_of(shop: Workshop, id_: str, most: int = KEPT) -> list[Delivery]:
    """Return a hook's deliveries, newest first; raises `NotThere` when there is no such hook."""
    hook = find_hook(shop, id_)
    both = {d.id: d for d in [*_all(shop, hook, WAITING), *_all(shop, hook, OVER)]}
    return sorted(both.values(), key=lambda d: (d.at, d.id), reverse=True)[:most]


@dataclass(frozen=True)
class HookState:
    """A hook as it is shown: without its secret, with how many deliveries wait and why nothing goes."""

    id: str
    url: str
    events: tuple[str, ...]
    by: str
    at: str
    waiting: int
    paused: str
    fault: str


def hook_states(shop: Workshop) -> list[HookState]:
    """Return every hook as it is shown, oldest first."""
    return [
        HookState(
            h.id, h.url, h.events, h.by, h.at,
            len(list((folder_of(shop, h.id) / WAITING).glob("msg_*.json"))),
            pause_words(shop, h), progress_of(shop, h).fault,
        )
        for h in all_hooks(shop)
    ]  # fmt: skip


def due(shop: Workshop, hook: Hook) -> list[Delivery]:
    """Return the deliveries whose time has come, oldest first."""
    now = now_utc()
    waiting = [d for d in _all(shop, hook, WAITING) if d.next_at <= now]
    for d in [d for d in waiting if _path(shop, hook, d, OVER).exists()]:
        remove(_path(shop, hook, d, WAITING))  # a cut came between its end and this file's
        waiting.remove(d)
    return sorted(waiting, key=lambda d: (d.at, d.id))


def again(shop: Workshop, id_: str, delivery_id: str) -> Delivery:
    """Send a delivery once more, under its own id; raises `NotThere` when it is not there any more."""
    hook = find_hook(shop, id_)
    found = next((d for d in deliveries_of(shop, id_) if d.id == delivery_id), None)
    if found is None:
        raise NotThere("There is no such delivery.", remedy="Look at the hook's deliveries.")
    anew = replace(found, state="waits", tries=0, next_at=now_utc(), done_at="")
    remove(_path(shop, hook, anew, OVER))
    put(shop, hook, anew)
    return anew


def put(shop: Workshop, hook: Hook, delivery: Delivery) -> None:
    """Write a delivery through to the disk; one that is over waits no more."""
    waits = delivery.state == "waits"
    path = _path(shop, hook, delivery, WAITING if waits else OVER)
    if waits and _path(shop, hook, delivery, OVER).exists():
        return  # queued again after a cut, and told already
    make_folder(path.parent)
    write_text(path, json.dumps(asdict(delivery)), private=True)
    if not waits:
        remove(_path(shop, hook, delivery, WAITING))


def drop_old(shop: Workshop, hook: Hook) -> None:
    """Take away what was over long ago, beyond what is shown."""
    names = sorted(
        (folder_of(shop, hook.id) / OVER).glob("msg_*.json"), key=lambda p: p.stat().st_mtime
    )
    for old in names[:-KEPT]:
        remove(old)


def _path(shop: Workshop, hook: Hook, delivery: Delivery, part: str) -> Path:
    return folder_of(shop, hook.id) / part / f"{delivery.id}.json"


def _all(shop: Workshop, hook: Hook, part: str) -> list[Delivery]:
    paths = (folder_of(shop, hook.id) / part).glob("msg_*.json")
    return [d for path in paths if (d := _read(path))]


def _read(path: Path) -> Delivery | None:
    try:
        return Delivery(**json.loads(path.read_text(encoding="utf-8")))
    except (OSError, ValueError, TypeError):  # just gone, or of a later program
        return None
