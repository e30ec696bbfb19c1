"""Letters that wait: one file each in the data folder, written through to the disk before anybody is told."""

from __future__ import annotations

import json
import re
from collections.abc import Iterator
from dataclasses import asdict, dataclass, replace
from pathlib import Path

from ...ledger.store.entries import now_utc
from ...ledger.store.identity import new_id
from ...quantities.durable import make_folder, remove, sync_folder, write_text
from ...quantities.errors import BadInput, LedgerFault, NotThere
from ...quantities.said import Said
from ..rig.simulated import is_practice
from ..sheets.issued import issued_sheet
from ..shop import Workshop
from ..shop_file import load_shop_file

FOLDER = "post"
LONGEST_ADDRESS = 254
"""RFC 5321, 4.5.3.1.3, less the angle brackets."""

LABEL = "[A-Za-z0-9](?:[A-Za-z0-9-]{0,61}[A-Za-z0-9])?"
ADDRESS = re.compile(r"[A-Za-z0-9.!#$%&'*+/=?^_`{|}~-]{1,64}@" + rf"(?:{LABEL}\.)+{LABEL}")
"""What HTML's own e-mail field takes, with a domain: letters of ASCII, no comments, no quoted parts."""


@dataclass(frozen=True)
class Letter:
    """A sheet on its way.

    Attributes
    ----------
    id : str
        The message's own name too: a letter that is sent twice after a power cut is one to who gets it.
    next_at : str
        UTC: not tried before; empty when it is given up until a person says otherwise.
    fault : str
        Why it did not go the last time.
    """

    id: str
    sheet: str
    to: str
    by: str
    at: str
    tries: int = 0
    next_at: str = ""
    fault: str = ""

    @property
    def given_up(self) -> bool:
        """Whether it waits for a person."""
        return not self.next_at

    def message_id(self, host: str) -> str:
        """Return the message's name (RFC 5322, 3.6.4)."""
        return f"<{self.id}@{host}>"


def checked_address(text: str) -> str:
    """Return one address; raises `BadInput` for anything that is none, or more than one."""
    address = text.strip()
    if len(address) > LONGEST_ADDRESS or not ADDRESS.fullmatch(address) or ".." in address:
        raise BadInput(
            Said("refusal.is_no_address", {"text": repr(text)}),
            remedy=Said("remedy.one_address_as_office_example"),
        )
    return address


def mail_sheet(shop: Workshop, number: str, to: str, *, by: str = "") -> Letter:
    """Queue an issued sheet for the post; it stands on the disk when this returns.

    Raises
    ------
    BadInput
        No address, no mail server is named, or the ledger is for practice.
    NotThere
        No such sheet.
    LedgerFault
        The disk refuses.
    """
    address = checked_address(to)
    if is_practice(shop):
        raise BadInput(
            Said("refusal.a_practice_shop_sends_nothing"),
            remedy=Said("remedy.print_it_to_see_how"),
        )
    if not load_shop_file(shop.folder).mail_host:
        raise BadInput(
            Said("refusal.no_mail_server_is_named"),
            remedy=Said("remedy.mail_host_and_mail_from"),
        )
    issued_sheet(shop, number)
    now = now_utc()
    letter = Letter(new_id(), number, address, by, now, next_at=now)
    keep(shop, letter)
    return letter


def waiting_letters(shop: Workshop, sheets: tuple[str, ...] | None = None) -> list[Letter]:
    """Return the letters that wait, oldest first; of some sheets only when they are named."""
    return [x for x in _all(shop) if sheets is None or x.sheet in sheets]


def again(shop: Workshop, id_: str) -> None:
    """Try a letter again now; raises `NotThere` when it does not wait."""
    keep(shop, replace(_letter(shop, id_), next_at=now_utc()))


def give_up(shop: Workshop, id_: str) -> None:
    """Take a letter out of the post; raises `NotThere` when it does not wait."""
    _letter(shop, id_)
    drop(shop, id_)


def keep(shop: Workshop, letter: Letter) -> None:
    """Write a letter; raises `LedgerFault` when the disk refuses."""
    try:
        make_folder(shop.folder / FOLDER)
        write_text(_path(shop, letter.id), json.dumps(asdict(letter)), private=True)
    except OSError as fault:
        raise LedgerFault(
            Said("refusal.the_letter_cannot_be_written", {"strerror": str(fault.strerror)}),
            remedy=Said("remedy.make_room_on_the_disk"),
        ) from None


def drop(shop: Workshop, id_: str) -> None:
    """Take a letter's file away."""
    path = _path(shop, id_)
    remove(path)
    sync_folder(path.parent)


def _letter(shop: Workshop, id_: str) -> Letter:
    found = next((x for x in _all(shop) if x.id == id_), None)
    if found is None:
        raise NotThere(
            Said("refusal.that_letter_does_not_wait"),
            remedy=Said("remedy.the_story_says_whether_it"),
        )
    return found


def _path(shop: Workshop, id_: str) -> Path:
    return shop.folder / FOLDER / f"{id_}.json"


def _all(shop: Workshop) -> Iterator[Letter]:
    for path in sorted((shop.folder / FOLDER).glob("*.json")):
        try:
            yield Letter(**json.loads(path.read_text(encoding="utf-8")))
        except (ValueError, TypeError):  # not ours, or of a later program: it stays where it is
            continue
