"""The proof that one sheet stands in the ledger, for somebody who has neither the ledger nor its other entries.

It holds the sheet's entry, its link, the way from there to the root of the tree over all links (RFC 9162), and the
signed head that names that root, time stamped where the shop has a service.
"""

from __future__ import annotations

import json
from dataclasses import asdict, dataclass

from ...ledger.exchange.heads import Inclusion
from ...ledger.store.chain import link_over
from ...ledger.store.tree import leaf_hash, root_from
from ...quantities.errors import LedgerFault, NotThere, UnreadableFile
from ..heads import SignedHead, own_heads, sign_head
from ..shop import Workshop
from ..shop_key import certificate_digest
from ..stamps import check_stamp
from ..stored import stored
from .signature import SheetCheck


@dataclass(frozen=True)
class SheetProof:
    """The way from a sheet's entry to a signed head."""

    inclusion: Inclusion
    head: SignedHead

    def as_text(self) -> str:
        """Return it as JSON."""
        return json.dumps(asdict(self), indent=1, ensure_ascii=False) + "\n"


@dataclass(frozen=True)
class ProofAnswer:
    """What a proof shows.

    Attributes
    ----------
    good : bool
    text : str
    """

    good: bool
    text: str


def prove_sheet(shop: Workshop, number: str) -> SheetProof:
    """Return the proof of a sheet: under the newest head with a time stamp that reaches it, or one made now.

    Raises
    ------
    NotThere
        The ledger knows no such sheet.
    """
    sheet = shop.book.sheets.find(number)
    if sheet is None:
        raise NotThere(f"The ledger knows no sheet {number}.", remedy="Check the number.")
    stamped = (h for h in own_heads(shop) if h.stamp and h.store == shop.book.exchange.own_id())
    for head in stamped:
        under = shop.book.heads.inclusion(sheet.id, head.number)
        if under is not None and under.root == head.root:
            return SheetProof(under, head)
    head = sign_head(shop)
    found = shop.book.heads.inclusion(sheet.id, head.number)
    if found is None:
        raise LedgerFault(
            f"Sheet {number} has no link in the ledger.", remedy="heavyspot verify tells more."
        )
    return SheetProof(found, head)


def proof_from(text: str) -> SheetProof:
    """Return a proof from its JSON; raises `UnreadableFile` when it is none."""
    try:
        return stored(SheetProof, dict(json.loads(text)), what="The proof")
    except (ValueError, TypeError, RecursionError, LedgerFault):
        raise UnreadableFile(
            "This is no proof of a sheet.", remedy="Give the file as it was sent."
        ) from None


def check_proof(check: SheetCheck, proof: SheetProof) -> ProofAnswer:
    """Return whether a proof shows that a sheet stands in the ledger of whoever signed it; needs no ledger."""
    under, head = proof.inclusion, proof.head
    try:
        entry = dict(json.loads(under.entry))
        link = link_over(under.before, under.table, under.entry)
        leaf = leaf_hash(bytes.fromhex(link))
        path = [bytes.fromhex(p) for p in under.path]
        root = root_from(leaf, under.number - 1, under.size, path)
        certificate = certificate_digest(head.certificate)
    except (ValueError, TypeError):
        return ProofAnswer(False, "The proof cannot be read: it was changed.")
    said = (str(entry.get("number", "")), str(entry.get("digest", "")))
    fits = under.table == "sheets" and said == (str(check.data.get("number", "")), check.digest)
    if not fits:
        return ProofAnswer(False, "The proof is of another sheet than this one.")
    if root is None or root.hex() != head.root or under.size != head.number:
        return ProofAnswer(
            False, "The way from the entry does not lead to the root that was signed."
        )
    if not head.signed_well() or certificate != check.fingerprint:
        return ProofAnswer(
            False, "The root was not signed with the certificate the sheet was signed with."
        )
    text = (
        f"It is entry {under.number:,} of {under.size:,} in the ledger whose root was signed at "
        f"{head.at[:19].replace('T', ' ')} UTC."
    )
    if head.stamp:
        stamped = check_stamp(head.stamp, head.words())
        if stamped is None:
            return ProofAnswer(False, "The time stamp on the root does not fit it.")
        text += f" {stamped.by} stamped it at {stamped.at} (certificate {stamped.fingerprint})."
    return ProofAnswer(True, text)
