"""A station's part: it works on its own for days, and hands on what it wrote when the line is back."""

from __future__ import annotations

import json
from collections.abc import Callable
from dataclasses import asdict, dataclass, replace
from datetime import UTC, datetime
from pathlib import Path
from typing import Any
from urllib.parse import urlencode

from ...ledger.book import Book
from ...ledger.entries.station import file_of
from ...ledger.exchange.envelope import Parcel
from ...ledger.store.archive import digest_of
from ...ledger.store.entries import now_utc
from ...quantities.durable import remove, write_text
from ...quantities.errors import LedgerFault, SourceLost
from ..held import alone
from ..shop import Workshop
from ..shop_file import load_shop_file
from ..shop_key import fits
from ..stored import stored
from .answers import ArrivalProof, Cursor, Have, HeldBack, House, Offered, answer_as, house_of
from .arrivals import spelled
from .heads import swap_heads
from .line import EXCHANGE, HttpLine, Line

FILE, LAST = "station.json", "exchanged.json"
BLOCK = 1_000_000
"""Bytes of a recording in one request: what a cut line costs."""

CLOCK_S = 60.0
"""From this difference of clocks on a word is said (ours)."""

Say = Callable[[str, int, int], None]


@dataclass(frozen=True)
class Joined:
    """What a station knows of its main house."""

    url: str
    key: str
    name: str
    main: str
    main_name: str
    certificate: str
    tls: str = ""


@dataclass
class Exchanged:
    """What an exchange did.

    Attributes
    ----------
    sent, files : int
        Entries and files handed on.
    got : int
        Entries from the main house.
    held : int
        Of those sent, what waits there for a person to decide.
    clock_s : float
        This computer's clock minus the main house's.
    missing : list of str
        Files that could not be read here.
    main_fault : str
        What the main house's head shows of its ledger; empty when all is well.
    """

    sent: int = 0
    files: int = 0
    got: int = 0
    held: int = 0
    clock_s: float = 0.0
    missing: list[str] | None = None
    main_fault: str = ""


def join(data: Path, line: Line, url: str, key: str, tls: str = "") -> Joined:
    """Make a data folder a station of a main house; its ledger is made when it is not there.

    Raises
    ------
    SourceLost, BadInput
        The line is down, or the key is nobody's.
    """
    house = house_of(line)
    joined = Joined(url, key, house.station, house.store, house.name, house.certificate, tls)
    data.mkdir(parents=True, exist_ok=True)
    _write(data / FILE, asdict(joined))
    return joined


def _write(path: Path, content: dict[str, Any]) -> None:
    write_text(path, json.dumps(content, indent=1), private=True)  # it may hold the key


def joined_of(data: Path) -> Joined | None:
    """Return a station's main house, or None for a store that is none's station."""
    path = data / FILE
    if not path.exists():
        return None
    return Joined(**json.loads(path.read_text(encoding="utf-8")))


def line_of(joined: Joined) -> Line:
    """Return the line to a main house."""
    return HttpLine(joined.url, joined.key, joined.tls)


def exchange(shop: Workshop, line: Line, say: Say = lambda *_: None) -> Exchanged:
    """Hand on what is new here, recordings first, then take what is new there; may be cut anywhere.

    Raises
    ------
    SourceLost
        The line is down; what had arrived stays there, and the next time goes on from it.
    LedgerFault
        This is no station.
    """
    joined = joined_of(shop.book.folder)
    if joined is None:
        raise LedgerFault(
            "This is no station.", remedy="heavyspot station join URL KEY makes it one."
        )
    told = Exchanged(missing=[])
    house = house_of(line)
    if house.store != joined.main:
        joined = _met_again(shop.book.folder, joined, house)
    now = datetime.now(UTC)
    try:
        told.clock_s = (now - datetime.fromisoformat(house.now)).total_seconds()
    except (ValueError, TypeError):
        raise SourceLost(
            f"What answered is no main house of this version (its clock says {house.now!r:.40}).",
            remedy="Everything is kept here and goes when the line is back.",
        ) from None
    after = _agreed(shop, line)
    _send(shop, line, joined, after, told, say)
    main_head = _get(shop, line, joined, told, say)
    kept = shop.book.heads.kept([joined.main], most=1)
    told.main_fault = _last(shop.book.folder).main_fault
    if told.sent or told.got or not kept or main_head < kept[0].number:
        told.main_fault = swap_heads(shop, line, joined.main)
    _remember(shop, told)
    return told


def _met_again(data: Path, joined: Joined, house: House) -> Joined:
    """Go on with a main house that was restored from a backup: the same shop, under a new name of its store.

    What it lost and this station has, it gets back: only what comes from its new store is left out.
    """
    if house.certificate != joined.certificate:
        raise LedgerFault(
            "The main house is another one than the one this station joined.",
            remedy="Ask who keeps it; to send everything there, join it anew.",
        )
    joined = replace(joined, main=house.store)
    _write(data / FILE, asdict(joined))
    return joined


def _agreed(shop: Workshop, line: Line) -> int:
    """Return the link up to which the main house has this store's entries.

    When its link is not ours, this store was restored from a backup older than what it sent: it goes on under a
    new name and sends all of its entries again; those that are there are known by their identifiers.
    """
    store = shop.book.exchange.own_id()
    asked = f"{EXCHANGE}/cursor?" + urlencode({"store": store})
    there = answer_as(Cursor, line.send("GET", asked))
    if there.digest and shop.book.exchange.link(there.number) == there.digest:
        return there.number
    shop.book.exchange.take_new_id()
    return 0


def _send(
    shop: Workshop, line: Line, joined: Joined, after: int, told: Exchanged, say: Say
) -> None:
    head = shop.book.head()[0]
    while after < head:
        offer = shop.book.exchange.offer(after, taker=joined.main)
        for parcel in offer.parcels:
            _send_file(shop, line, parcel, told)
        body = {"offer": asdict(offer), "clock_s": told.clock_s}
        answer = line.send("POST", f"{EXCHANGE}/entries", json.dumps(body).encode())
        told.sent += len(offer.parcels)
        told.held += answer_as(HeldBack, answer).held
        after = offer.number
        say("sent", after, head)


def _send_file(shop: Workshop, line: Line, parcel: Parcel, told: Exchanged) -> None:
    named = file_of(parcel.row)
    if named is None:
        return
    name, digest = named
    if shop.book.retention.gone(name):
        return
    if shop.book.archive.fault(name, digest):
        assert told.missing is not None
        told.missing.append(name)
        return
    path = shop.book.archive.open(name)
    _send_bytes(line, name, path, digest)
    beside = path.with_suffix(".json")
    if beside.exists():
        _send_bytes(line, name.rsplit(".", 1)[0] + ".json", beside, digest_of(beside))
    told.files += 1


def _send_bytes(line: Line, name: str, path: Path, digest: str) -> None:
    at = answer_as(Have, line.send("GET", f"{EXCHANGE}/files/{name}")).have
    size = path.stat().st_size
    with path.open("rb") as file:
        while at >= 0:
            file.seek(at)
            block = file.read(BLOCK)
            query = urlencode(
                {"at": at, "digest": digest, "last": str(at + len(block) >= size).lower()}
            )
            kind = "application/octet-stream"
            answer = line.send("PUT", f"{EXCHANGE}/files/{name}?{query}", block, kind)
            at = answer_as(Have, answer).have


def _get(shop: Workshop, line: Line, joined: Joined, told: Exchanged, say: Say) -> int:
    """Take what is new there; returns the number of the newest link there."""
    store = shop.book.exchange.own_id()
    while True:
        after, _ = shop.book.exchange.cursor(joined.main)
        query = urlencode({"store": store, "after": after})
        found = answer_as(Offered, line.send("GET", f"{EXCHANGE}/entries?{query}"))
        if found.offer.number <= after:
            return found.head
        told.got += shop.book.exchange.take(found.offer, deciding=False).kept
        say("received", found.offer.number, found.head)


@dataclass(frozen=True)
class LastExchange:
    """The last exchange, as it is remembered here: when, of which store, up to which link, what was held."""

    at: str = ""
    store: str = ""
    number: int = 0
    clock_s: float = 0.0
    held: int = 0
    missing: tuple[str, ...] = ()
    main_fault: str = ""


@dataclass(frozen=True)
class Standing:
    """Where a station stands.

    Attributes
    ----------
    waiting : int
        Entries the main house does not have yet, as far as this one knows.
    last : str
        When the last exchange ended; empty before the first.
    clock_s : float
    held : int
    missing : tuple of str
    """

    name: str
    main_name: str
    waiting: int
    last: str
    clock_s: float
    held: int
    missing: tuple[str, ...]
    main_fault: str = ""

    def words(self) -> list[str]:
        """Return what has to be said at the bench; empty when all is well."""
        said = []
        if abs(self.clock_s) > CLOCK_S:
            way = "ahead of" if self.clock_s > 0 else "behind"
            said.append(
                f"This computer's clock is {abs(self.clock_s) / 60:.1f} min {way} the main house's. "
                "Set it; entries keep the time as it was written, and their order."
            )
        if self.missing:
            said.append(
                f"{len(self.missing)} recordings cannot be read here, {self.missing[0]} first."
            )
        if self.main_fault:
            said.append(self.main_fault)
        return said


def standing(shop: Workshop) -> Standing | None:
    """Return where a station stands; None for a store that is none's station."""
    joined = joined_of(shop.book.folder)
    if joined is None:
        return None
    last = _last(shop.book.folder)
    same = last.store == shop.book.exchange.own_id()
    waiting = shop.book.exchange.waiting(last.number if same else 0)
    return Standing(
        joined.name, joined.main_name, waiting, last.at, last.clock_s, last.held, last.missing,
        last.main_fault,
    )  # fmt: skip


def _last(folder: Path) -> LastExchange:
    path = folder / LAST
    kept = json.loads(path.read_text(encoding="utf-8")) if path.exists() else {}
    return stored(LastExchange, kept, what=LAST)


def _remember(shop: Workshop, told: Exchanged) -> None:
    store = shop.book.exchange.own_id()
    seen = {"at": now_utc(), "store": store, "number": shop.book.head()[0], **asdict(told)}
    _write(shop.book.folder / LAST, seen)


def proof_of_arrival(shop: Workshop, line: Line) -> ArrivalProof:
    """Return the main house's signed word that all of this store has arrived, after a last exchange.

    Raises
    ------
    LedgerFault
        Something is still missing there, or the word is not the main house's.
    """
    told = exchange(shop, line)
    joined = joined_of(shop.book.folder)
    assert joined is not None
    if told.missing:
        raise LedgerFault(
            f"{told.missing[0]} cannot be read here, so it has not arrived.",
            remedy="Restore it from a backup first.",
        )
    number, digest = shop.book.head()
    store = shop.book.exchange.own_id()
    body = {"store": store, "number": number, "digest": digest}
    # what came from there is part of the chain here: the last exchange has to reach its end
    _send(shop, line, joined, _agreed(shop, line), told, lambda *_: None)
    answer = line.send("POST", f"{EXCHANGE}/proof", json.dumps(body).encode())
    proof = answer_as(ArrivalProof, answer)
    right = (proof.store, proof.number, proof.digest) == (store, number, digest)
    if not right or not fits(spelled(proof), proof.signature, joined.certificate.encode()):
        raise LedgerFault(
            "The main house's word does not fit.", remedy="Exchange again, then ask once more."
        )
    return proof


def wipe(data: Path, line: Line) -> Path:
    """Empty a station after it has proof that all of it arrived; returns where the proof is kept.

    The new ledger is filled from the main house at once.

    Raises
    ------
    SourceLost, LedgerFault, BadInput
        There is no proof, or any program has the store open; nothing is touched.
    """
    with alone(data):
        pass  # said before the line is used
    shop = Workshop(data)
    try:
        proof = proof_of_arrival(shop, line)
        if shop.book.head() != (proof.number, proof.digest):
            raise LedgerFault("Something was written just now.", remedy="Wipe it again.")
        names = [name for _, name, _ in shop.book.events.files()]
    finally:
        shop.close()
    kept = data / f"arrived-{proof.at[:19].replace(':', '')}.json"
    with alone(data):  # a program that has it open would write on into files that are gone
        check = Book(data, load_shop_file(data).ledger_url or None)
        try:
            if check.head() != (proof.number, proof.digest):
                raise LedgerFault("Something was written just now.", remedy="Wipe it again.")
        finally:
            check.close()
        write_text(kept, json.dumps(asdict(proof), indent=1))
        for suffix in ("", "-wal", "-shm"):
            remove(data / f"ledger.sqlite{suffix}")
        remove(data / LAST)
    fresh = Workshop(data)
    try:
        for name in names:
            fresh.book.archive.remove(name)
        exchange(fresh, line)
    finally:
        fresh.close()
    return kept
