"""Signed heads: the shop's word up to where its ledger reached. Kept elsewhere, they show what was cut off.

A chain shows what was changed in it, but not that its end is gone. A head says how many entries there were, which
link was the newest, and the root of the tree over all of them (RFC 9162), signed with the shop's key and, where the
shop has a service, time stamped (RFC 3161). The other building keeps them, and each backup.
"""

from __future__ import annotations

import json
from collections.abc import Iterable, Iterator
from dataclasses import asdict, dataclass, replace
from pathlib import Path

from ..ledger.exchange.heads import KeptHead
from ..ledger.store.entries import now_utc
from ..quantities import durable
from ..quantities.clock import utc_minute
from ..quantities.errors import BadInput, LedgerFault, SourceLost, UnreadableFile
from .shop import Workshop
from .shop_file import load_shop_file
from .shop_key import (
    CERTIFICATE,
    certificate_digest,
    fingerprint,
    fits,
    make_certificate,
    sign_words,
)
from .stamps import Post, post, stamp
from .stored import stored

FILE = "heads.jsonl"
"""In a backup's folder: a head a line, the newest last."""

LONGEST = 20_000
"""Letters of a head in JSON: a certificate and a time stamp with room to spare."""


@dataclass(frozen=True)
class SignedHead:
    """Up to where a ledger reached.

    Attributes
    ----------
    shop, store : str
        The shop's name, and the ledger's among ledgers.
    number, link : int, str
        Of the newest entry.
    root : str
        Of the tree over all links up to it.
    at : str
        UTC, by the shop's clock.
    certificate : str
        PEM of what it is signed with.
    signature : str
        Over `words`; base64.
    stamp : str
        RFC 3161 over `words`, base64; empty where no service was asked.
    """

    shop: str
    store: str
    number: int
    link: str
    root: str
    at: str
    certificate: str
    signature: str = ""
    stamp: str = ""

    def words(self) -> str:
        """Return what is signed and stamped."""
        said = {
            k: v
            for k, v in asdict(self).items()
            if k in ("shop", "store", "number", "link", "root", "at")
        }
        return json.dumps(said, sort_keys=True, separators=(",", ":"), ensure_ascii=False)

    def signed_well(self) -> bool:
        """Whether its signature fits its certificate."""
        try:
            return fits(self.words(), self.signature, self.certificate.encode())
        except ValueError:
            return False

    def as_text(self) -> str:
        """Return it as one line of JSON."""
        return json.dumps(asdict(self), ensure_ascii=False)


@dataclass(frozen=True)
class HeadFault:
    """What a head shows of a ledger.

    Attributes
    ----------
    kind : "cut off", "rewritten", "another's", "other key" or "forged"
    number : int
        Of the head's link.
    table, entry_id : str
        Empty: it is none of one entry.
    """

    kind: str
    number: int
    at: str
    have: int
    table: str = ""
    entry_id: str = ""

    def words(self) -> str:
        """Return it in words."""
        when = utc_minute(self.at)
        return {
            "cut off": f"The ledger's end was cut off: on {when} UTC it had {self.number:,} entries, "
            f"now {self.have:,}.",
            "rewritten": f"The ledger was rewritten: link {self.number:,} is not what it was on {when} UTC.",
            "another's": f"The head of {when} UTC is of another ledger.",
            "other key": f"The head of {when} UTC was signed with another certificate than the shop's.",
            "forged": f"The head of {when} UTC is not as it was signed.",
        }[self.kind]


def sign_head(shop: Workshop, number: int | None = None, *, at: str = "") -> SignedHead:
    """Return a signed head of a ledger; of an earlier link where one is named."""
    book = shop.book
    number = book.head()[0] if number is None else number
    name = load_shop_file(book.folder).name
    make_certificate(book.folder, name)
    certificate = (book.folder / CERTIFICATE).read_text(encoding="ascii")
    head = SignedHead(
        name, book.exchange.own_id(), number, book.exchange.link(number), book.heads.root(number),
        at or now_utc(), certificate,
    )  # fmt: skip
    return replace(head, signature=sign_words(head.words(), book.folder, name=name))


def new_head(
    shop: Workshop, number: int | None = None, *, send: Post = post
) -> tuple[SignedHead, str]:
    """Return a signed head, time stamped where the shop has a service, and keep it here.

    Parameters
    ----------
    number : int, optional
        Of an earlier link than the newest.

    Returns
    -------
    SignedHead
    str
        What is wrong with the service; empty when nothing is.
    """
    shop.book.heads.keep_nodes()
    head, fault = sign_head(shop, number), ""
    url = load_shop_file(shop.book.folder).timestamp_url
    if url:
        try:
            head = replace(head, stamp=stamp(head.words(), url, send))
        except (SourceLost, BadInput) as gone:
            fault = str(gone)
    keep_head(shop, head)
    return head, fault


def keep_head(shop: Workshop, head: SignedHead) -> None:
    """Keep a head, of this store or another."""
    shop.book.heads.keep(KeptHead(head.store, head.number, head.link, head.at, head.as_text()))


def take_head(shop: Workshop, head: SignedHead) -> None:
    """Keep a head that another building sent; raises `BadInput` when it is not as it was signed."""
    if len(head.as_text()) > LONGEST or not head.signed_well():
        raise BadInput("This head is not as it was signed.", remedy="Send it again.")
    keep_head(shop, head)


def own_heads(shop: Workshop) -> list[SignedHead]:
    """Return the heads of this ledger that are kept here, the newest first."""
    return [head_from(k.content) for k in shop.book.heads.kept(shop.book.exchange.own_ids())]


def heads_of(shop: Workshop, store: str) -> list[SignedHead]:
    """Return the heads of another store that are kept here, the newest first."""
    return [head_from(k.content) for k in shop.book.heads.kept([store])]


def head_from(text: str) -> SignedHead:
    """Return a head from its JSON; raises `UnreadableFile` when it is none."""
    try:
        return stored(SignedHead, dict(json.loads(text)), what="The head")
    except (ValueError, TypeError, RecursionError, LedgerFault):
        raise UnreadableFile(
            "This is no head of a ledger.", remedy="Give the file as it was kept."
        ) from None


def read_heads(path: Path) -> list[SignedHead]:
    """Return the heads in a file, or in a backup's folder.

    Raises
    ------
    UnreadableFile
        There is none.
    """
    file = path / FILE if path.is_dir() else path
    try:
        lines = file.read_text(encoding="utf-8").splitlines()
    except (OSError, UnicodeDecodeError):
        raise UnreadableFile(
            f"{file} holds no head of a ledger.",
            remedy="Name a backup's folder, or a file of heads.",
        ) from None
    return [head_from(line) for line in lines if line.strip()]


def add_to_file(path: Path, head: SignedHead) -> None:
    """Add a head to a file of heads, on the disk when it returns; a torn last line is left out."""
    before = path.read_bytes() if path.exists() else b""
    whole = before[: before.rfind(b"\n") + 1]
    durable.write_bytes(path, whole + (head.as_text() + "\n").encode())


def check_heads(shop: Workshop, heads: Iterable[SignedHead]) -> Iterator[HeadFault]:
    """Yield what heads that were kept show: an end that was cut off, a chain that was rewritten.

    Where the ledger was restored from a backup, what came after that backup is known to be lost, and is no fault.
    """
    book = shop.book
    have, own = book.head()[0], set(book.exchange.own_ids())
    mine = fingerprint(book.folder)
    ends = _ends(shop)
    for head in heads:
        fault = ""
        if not head.signed_well():
            fault = "forged"
        elif head.store not in own:
            fault = "another's"
        elif mine and certificate_digest(head.certificate) != mine:
            fault = "other key"
        elif head.number > ends.get(head.store, head.number):
            continue
        elif head.number > have:
            fault = "cut off"
        elif book.exchange.link(head.number) != head.link or (
            book.heads.root(head.number) != head.root
        ):
            fault = "rewritten"
        if fault:
            yield HeadFault(fault, head.number, head.at, have)


def _ends(shop: Workshop) -> dict[str, int]:
    """Return up to which link the store's earlier names reach: it went on from there under another."""
    names = shop.book.exchange.own_ids()
    gone_on = shop.book.exchange.branches()
    named_by_branch = [b.store for b in gone_on]
    ends = {}
    for name in names[:-1]:
        after = named_by_branch.index(name) + 1 if name in named_by_branch else 0
        if after < len(gone_on):
            ends[name] = gone_on[after].from_number
    return ends
