"""What a main house answers its station, as values: a log-in page or a cut answer is none of them."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from typing import Any, TypeVar

from ...ledger.exchange.envelope import Offer
from ...quantities.errors import LedgerFault, NotThere, SourceLost
from ..heads import SignedHead
from ..stored import stored
from .line import EXCHANGE, Line

T = TypeVar("T")


@dataclass(frozen=True)
class House:
    """Who the main house is.

    Attributes
    ----------
    store, name : str
        The ledger's name among ledgers, and the shop's.
    now : str
        Its clock, UTC.
    certificate : str
        PEM of what it signs with.
    station : str
        Who asks, as it knows them; empty where nobody is asked for.
    """

    store: str
    name: str
    now: str
    certificate: str
    station: str = ""


@dataclass(frozen=True)
class Cursor:
    """Up to which link of a store's chain everything is there."""

    number: int
    digest: str


@dataclass(frozen=True)
class Have:
    """How many bytes of a file are there; -1 when it is complete."""

    have: int


@dataclass(frozen=True)
class HeldBack:
    """Of the entries sent, how many wait there for a person to decide."""

    held: int


@dataclass(frozen=True)
class KeptHeads:
    """The heads of a store that are kept there."""

    heads: tuple[SignedHead, ...]


@dataclass(frozen=True)
class Offered:
    """Entries on their way here, and the number of the newest link there."""

    offer: Offer
    head: int


@dataclass(frozen=True)
class ArrivalProof:
    """The main house's word that a station's store is there up to a link, recordings and all.

    Attributes
    ----------
    station, store : str
        Whose, and its ledger's name among ledgers.
    number, digest : int, str
        The link up to which.
    entries, recordings : int
        How many of each.
    at : str
        UTC.
    main, main_link : str
        The main house's ledger, and its newest link then.
    signature : str
        Over the rest; empty before it is signed.
    """

    station: str
    store: str
    number: int
    digest: str
    entries: int
    recordings: int
    at: str
    main: str
    main_link: str
    signature: str = ""


def answer_as(kind: type[T], answer: Mapping[str, Any]) -> T:
    """Return an answer as the value it should be.

    Raises
    ------
    SourceLost
        It is none: something else answered, or it was cut off on the way.
    """
    try:
        return stored(kind, answer, what="The answer")
    except LedgerFault as fault:
        raise SourceLost(
            f"What answered is no main house of this version ({fault}).",
            remedy="Everything is kept here and goes when the line is back.",
        ) from None


def house_of(line: Line) -> House:
    """Return who the main house is; raises `SourceLost` where nothing on the line knows of an exchange."""
    try:
        return answer_as(House, line.send("GET", EXCHANGE))
    except NotThere:
        raise SourceLost(
            "What answers there knows no such exchange: a main house of an earlier version, or none.",
            remedy="Bring the main house up to date first; everything is kept here and goes then.",
        ) from None
