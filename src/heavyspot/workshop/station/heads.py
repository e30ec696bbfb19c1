"""Each building keeps the other's signed heads: what is cut off here is known there."""

from __future__ import annotations

import json
from dataclasses import asdict
from urllib.parse import urlencode

from ...quantities.clock import utc_minute
from ...quantities.errors import BadInput, LedgerFault
from ..heads import SignedHead, heads_of, keep_head, new_head, sign_head, take_head
from ..shop import Workshop
from ..stored import stored
from .answers import KeptHeads, answer_as
from .line import EXCHANGE, Line


def swap_heads(shop: Workshop, line: Line, main: str) -> str:
    """Give the main house this store's head, and keep its; returns what its head shows, empty when all is well.

    Raises
    ------
    SourceLost, BadInput
        The line is down, or the main house refuses.
    """
    mine, _ = new_head(shop)
    sent = json.dumps(asdict(mine)).encode()
    theirs = answer_as(SignedHead, line.send("POST", f"{EXCHANGE}/head", sent))
    if theirs.store != main or not theirs.signed_well():
        return "The main house's head is not as it was signed."
    before = heads_of(shop, main)
    keep_head(shop, theirs)
    return _seen(theirs, before[0] if before else None)


def _seen(now: SignedHead, before: SignedHead | None) -> str:
    """Return what two heads of one store show."""
    if before is None:
        return ""
    if now.number < before.number:
        return (
            f"The main house's ledger was cut off: on {utc_minute(before.at)} UTC it had "
            f"{before.number:,} entries, now {now.number:,}. heavyspot station heads gives its head of before."
        )
    if now.number == before.number and now.link != before.link:
        return f"The main house's ledger was rewritten: its link {now.number:,} is another one now."
    return ""


def receive_head(shop: Workshop, station: str, sent: SignedHead) -> SignedHead:
    """Keep a station's head, and return this house's.

    Raises
    ------
    NotAllowed
        The store is another station's.
    BadInput
        It is not as it was signed, or says another link than what arrived.
    """
    shop.book.exchange.refuse_another_s(sent.store, station)
    here = shop.book.exchange.cursor(sent.store)
    if sent.number == here[0] and sent.link != here[1]:
        raise BadInput(
            f"What arrived up to {here[0]} ends in another link than this head's.",
            remedy="Exchange first.",
        )
    take_head(shop, sent)
    return sign_head(shop)


def kept_of(shop: Workshop, store: str, station: str, most: int = 20) -> list[SignedHead]:
    """Return the newest heads of a station's store that are kept here; raises `NotAllowed` for another's."""
    shop.book.exchange.refuse_another_s(store, station)
    return heads_of(shop, store)[:most]


def asked_back(shop: Workshop, line: Line) -> list[SignedHead]:
    """Return the heads of this store that the main house keeps.

    Raises
    ------
    SourceLost
        The line is down.
    """
    found: list[SignedHead] = []
    for store in shop.book.exchange.own_ids():
        answer = line.send("GET", f"{EXCHANGE}/heads?" + urlencode({"store": store}))
        found += answer_as(KeptHeads, answer).heads
    return found


def head_of_json(sent: dict[str, object]) -> SignedHead:
    """Return a head from its JSON; raises `BadInput` when it is none."""
    try:
        return stored(SignedHead, sent, what="The head")
    except LedgerFault as fault:
        raise BadInput(f"This is no head: {fault}", remedy="Use the same version.") from None
