"""The shop's web hooks: a private file each in the data folder, not in the ledger, which goes to other buildings.

What persons say of a hook stands in its file, how far it got in another one: neither overwrites the other."""

from __future__ import annotations

import base64
import hashlib
import json
import secrets
from collections.abc import Sequence
from dataclasses import asdict, dataclass, replace
from pathlib import Path

from ...ledger.find.pages import Mark
from ...ledger.store.entries import now_utc
from ...ledger.store.identity import new_id
from ...quantities.durable import make_folder, remove, remove_folder, sync_folder, write_text
from ...quantities.errors import BadInput, LedgerFault, NotThere, SourceLost, Taken
from ..shop import Workshop
from ..shop_file import load_shop_file
from .address import reach, target_of

FOLDER, PROGRESS = "hooks", "progress.json"
EVENTS = ("verdict", "finding", "overruled")
SECRET = "whsec_"
"""How a secret begins (Standard Webhooks); the rest is base64 of 32 bytes."""

MOST = 20
"""Hooks of one shop."""


@dataclass(frozen=True)
class Hook:
    """Where other programs are told.

    Attributes
    ----------
    events : tuple of str
        Of `EVENTS`.
    secret : str
        What deliveries are signed with; shown once, when it is made.
    number, digest : int, str
        The ledger's newest link when it was made: what came later is told.
    """

    id: str
    url: str
    events: tuple[str, ...]
    secret: str
    by: str
    at: str
    number: int = 0
    digest: str = ""


@dataclass(frozen=True)
class Progress:
    """How far a hook got; written by the program alone.

    Attributes
    ----------
    mark : Mark
        The ledger's link up to which everything is queued.
    fault : str
        What went wrong with the queue itself.
    paused : str
        Why nothing is sent any more, under the secret of `paused_of`; a new secret lets it go on.
    """

    mark: Mark
    fault: str = ""
    paused: str = ""
    paused_of: str = ""


def add_hook(shop: Workshop, url: str, events: Sequence[str] = EVENTS, *, by: str = "") -> Hook:
    """Write a hook down; it is told what is written from now on.

    Raises
    ------
    BadInput
        It may not go there, an event is not known, or there are too many.
    Taken
        There is a hook to that address.
    """
    unknown = [e for e in events if e not in EVENTS]
    if unknown or not events:
        said = f"There is no event {unknown[0]!r}." if unknown else "No event is named."
        raise BadInput(said, remedy=f"Known: {', '.join(EVENTS)}.")
    target = target_of(url)
    try:
        reach(target, load_shop_file(shop.folder).hook_networks)
    except SourceLost as fault:
        raise BadInput(fault.message, remedy="Check the name.") from None
    there = all_hooks(shop)
    if any(h.url == url for h in there):
        raise Taken("There is a hook to that address.", remedy="End it first.")
    if len(there) >= MOST:
        raise BadInput(f"There are {MOST} hooks.", remedy="End one first.")
    number, digest = shop.book.head()
    hook = Hook(
        new_id(), url, tuple(dict.fromkeys(events)), new_secret(), by, now_utc(), number, digest
    )  # fmt: skip
    keep(shop, hook)
    return hook


def new_secret() -> str:
    """Return a new secret."""
    return SECRET + base64.b64encode(secrets.token_bytes(32)).decode()


def renew_secret(shop: Workshop, id_: str) -> Hook:
    """Give a hook a new secret, and let it go on if it was paused; the old one holds no longer."""
    hook = replace(find_hook(shop, id_), secret=new_secret())
    keep(shop, hook)
    return hook


def end_hook(shop: Workshop, id_: str) -> None:
    """Take a hook away, with what waits for it; raises `NotThere` when there is none."""
    hook = find_hook(shop, id_)
    path = path_of(shop, hook.id)
    remove(path)
    sync_folder(path.parent)
    remove_folder(folder_of(shop, hook.id))


def find_hook(shop: Workshop, id_: str) -> Hook:
    """Return a hook; raises `NotThere` when there is none."""
    found = next((h for h in all_hooks(shop) if h.id == id_), None)
    if found is None:
        raise NotThere("There is no such hook.", remedy="heavyspot hook list has them all.")
    return found


def all_hooks(shop: Workshop) -> list[Hook]:
    """Return the hooks, oldest first."""
    found = []
    for path in sorted((shop.folder / FOLDER).glob("*.json")):
        try:
            said = json.loads(path.read_text(encoding="utf-8"))
            found.append(Hook(**said | {"events": tuple(said.pop("events"))}))
        except (
            OSError,
            ValueError,
            TypeError,
            KeyError,
        ):  # of a later program: it stays where it is
            continue
    return found


def progress_of(shop: Workshop, hook: Hook) -> Progress:
    """Return how far a hook got."""
    try:
        said = json.loads((folder_of(shop, hook.id) / PROGRESS).read_text(encoding="utf-8"))
        return Progress(**said | {"mark": Mark(**said.pop("mark"))})
    except FileNotFoundError:
        return Progress(Mark(hook.number, hook.digest))


def keep_progress(shop: Workshop, hook: Hook, progress: Progress) -> None:
    """Write how far a hook got."""
    make_folder(folder_of(shop, hook.id))
    said = json.dumps(asdict(progress))
    write_text(folder_of(shop, hook.id) / PROGRESS, said, private=True)


def pause_words(shop: Workshop, hook: Hook) -> str:
    """Return why nothing is sent to a hook; empty while it is."""
    progress = progress_of(shop, hook)
    return progress.paused if progress.paused_of == fingerprint(hook) else ""


def fingerprint(hook: Hook) -> str:
    """Return what tells a hook's secret from the one before, without telling it."""
    return hashlib.sha256(hook.secret.encode()).hexdigest()


def keep(shop: Workshop, hook: Hook) -> None:
    """Write a hook; raises `LedgerFault` when the disk refuses."""
    try:
        make_folder(shop.folder / FOLDER)
        write_text(path_of(shop, hook.id), json.dumps(asdict(hook)), private=True)
    except OSError as fault:
        raise LedgerFault(
            f"The hook cannot be written ({fault.strerror}).", remedy="Make room on the disk."
        ) from None


def path_of(shop: Workshop, id_: str) -> Path:
    """Return the file of a hook of ours."""
    return shop.folder / FOLDER / f"{id_}.json"


def folder_of(shop: Workshop, id_: str) -> Path:
    """Return the folder of a hook's deliveries."""
    return shop.folder / FOLDER / id_
