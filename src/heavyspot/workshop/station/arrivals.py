"""The main house's part: who its stations are, their recordings coming in, and the proof that all of it arrived."""

from __future__ import annotations

import hashlib
import json
import re
import secrets
from collections.abc import Callable
from dataclasses import asdict, replace

from ...ledger.exchange.envelope import Offer
from ...ledger.exchange.exchange import Taken
from ...ledger.store.archive import digest_of
from ...ledger.store.entries import now_utc
from ...quantities import durable
from ...quantities.errors import BadInput, LedgerFault
from ..shop import Workshop
from ..shop_file import load_shop_file
from ..shop_key import CERTIFICATE, make_certificate, sign_words
from ..stored import stored
from .answers import ArrivalProof, House

_NAME = re.compile(r"[A-Za-z][A-Za-z0-9]{0,11}")
_FILE = re.compile(r"(recordings|papers)/[0-9]{4}/[0-9]{2}/[0-9a-f-]{36}\.[a-z0-9]{1,5}")


def add_station(shop: Workshop, name: str, *, by: str = "") -> str:
    """Add a station, or give one a new key; returns the key, which is said only once.

    Raises
    ------
    BadInput
        The name is not one to twelve letters and digits: it stands in its sheets' numbers.
    """
    if not _NAME.fullmatch(name):
        raise BadInput(
            f'"{name}" is no name of a station.',
            remedy="One to twelve letters and digits, a letter first: it stands in its sheets' numbers.",
        )
    key = secrets.token_urlsafe(32)
    shop.book.stations.add(name, _digest(key), by=by)
    return key


def end_station(shop: Workshop, name: str, *, by: str = "") -> None:
    """End a station's key; what it sent stays."""
    if name not in {s.name for s in shop.book.stations.all()}:
        raise BadInput(
            f'There is no station "{name}".', remedy="heavyspot station list names them."
        )
    shop.book.stations.add(name, "", by=by)


def station_of(shop: Workshop, key: str) -> str:
    """Return the station a key belongs to; empty when it is nobody's."""
    wanted = _digest(key)
    for s in shop.book.stations.all():
        if secrets.compare_digest(s.key_digest, wanted):
            return str(s.name)
    return ""


def _digest(key: str) -> str:
    return hashlib.sha256(key.encode()).hexdigest()


def main_house(shop: Workshop) -> House:
    """Return who this main house is: its store, name, time and certificate."""
    name = load_shop_file(shop.book.folder).name
    make_certificate(shop.book.folder, name)
    certificate = (shop.book.folder / CERTIFICATE).read_text(encoding="ascii")
    return House(shop.book.exchange.own_id(), name, now_utc(), certificate)


def refuse_foreign(name: str) -> None:
    """Raise `BadInput` for a file name that is none of a recording or paper."""
    if not _FILE.fullmatch(name):
        raise BadInput(f'"{name[:80]}" is no name of a recording.', remedy="Send it as it is kept.")


def received(shop: Workshop, name: str) -> int:
    """Return how many bytes of a file have arrived; -1 when it is complete."""
    refuse_foreign(name)
    if shop.book.archive.exists(name):
        return -1
    path = shop.book.folder / name
    part = durable.aside(path)
    return part.stat().st_size if part.exists() else 0


def receive_piece(
    shop: Workshop, name: str, content: bytes, *, at: int, digest: str, last: bool
) -> int:
    """Append bytes of a file; returns as `received`.

    Parameters
    ----------
    at : int
        Where they belong; bytes that are there already are left.
    digest : str
        SHA-256 of the whole file.
    last : bool
        Whether they are its end: then it is compared and put in place.

    Raises
    ------
    BadInput
        A gap before them, or the whole is not what was sent: it has to be sent anew.
    LedgerFault
        The disk refuses.
    """
    have = received(shop, name)
    if have < 0:
        return have
    path = shop.book.folder / name
    part = durable.aside(path)
    if at > have:
        raise BadInput(f"{name}: {have} bytes are here, not {at}.", remedy="Send from there.")
    try:
        path.parent.mkdir(parents=True, exist_ok=True)
        durable.append(part, content[have - at :])
    except OSError as fault:
        raise LedgerFault(
            f"{name} cannot be written ({fault.strerror}).", remedy="Make room, then send again."
        ) from None
    if not last:
        return part.stat().st_size
    if digest_of(part) != digest:
        durable.remove(part)
        raise BadInput(f"{name} arrived damaged.", remedy="Send it anew.")
    durable.put(part, path)
    return -1


def prove_arrival(
    shop: Workshop,
    station: str,
    store: str,
    number: int,
    digest: str,
    progress: Callable[[int, int], None] | None = None,
) -> ArrivalProof:
    """Return a signed statement that a station's store is here up to a link, recordings and all.

    Raises
    ------
    BadInput
        It is not: what is missing is named.
    NotAllowed
        The store is another station's.
    """  # fmt: skip
    shop.book.exchange.refuse_another_s(store, station)
    here = shop.book.exchange.cursor(store)
    if here != (number, digest):
        raise BadInput(f"Entries are here up to {here[0]}, not {number}.", remedy="Exchange first.")
    rows = shop.book.stations.files_from(store)
    for done, (name, wanted) in enumerate(rows, start=1):
        if shop.book.archive.fault(name, wanted):
            raise BadInput(f"{name} is not here as it was written.", remedy="Exchange again.")
        if progress:
            progress(done, len(rows))
    proof = ArrivalProof(
        station, store, number, digest, shop.book.exchange.arrived(store), len(rows), now_utc(),
        shop.book.exchange.own_id(), shop.book.head()[1],
    )  # fmt: skip
    name = load_shop_file(shop.book.folder).name
    return replace(proof, signature=sign_words(spelled(proof), shop.book.folder, name=name))


def spelled(proof: ArrivalProof) -> str:
    """Return the words of a proof that are signed."""
    said = {k: v for k, v in asdict(proof).items() if k != "signature"}
    return json.dumps(said, sort_keys=True, separators=(",", ":"), ensure_ascii=False)


def offer_of(sent: dict[str, object]) -> Offer:
    """Return an offer from its JSON; raises `BadInput` when it is none."""
    try:
        return stored(Offer, sent, what="The offer")
    except LedgerFault as fault:
        raise BadInput(f"This is no offer: {fault}", remedy="Use the same version.") from None


def cursor_of(shop: Workshop, store: str, station: str) -> tuple[int, str]:
    """Return how far into a station's store everything has arrived; raises `NotAllowed` for another's."""
    shop.book.exchange.refuse_another_s(store, station)
    return shop.book.exchange.cursor(store)


def take_entries(shop: Workshop, offer: Offer, *, clock_s: float, station: str) -> Taken:
    """Take a station's entries, all of them or none; raises as `Exchange.take` does."""
    return shop.book.exchange.take(offer, clock_s=clock_s, station=station)


def offer_entries(shop: Workshop, after: int, *, taker: str) -> tuple[Offer, int]:
    """Return entries behind a link, without the taker's own, and the number of the newest link."""
    return shop.book.exchange.offer(after, taker=taker), shop.book.head()[0]
