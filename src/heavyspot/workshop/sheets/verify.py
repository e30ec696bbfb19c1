"""Is this sheet genuine? Answered on any computer from the sheet alone, and further beside the ledger."""

from __future__ import annotations

from dataclasses import dataclass, replace
from typing import Literal

from ..shop import Workshop
from ..shop_key import fingerprint
from .signature import SheetCheck, check_sheet

Answer = Literal["genuine", "altered", "superseded", "not ours", "signed"]


@dataclass(frozen=True)
class SheetAnswer:
    """What can be said of a sheet.

    Attributes
    ----------
    answer : str
        ``genuine``: intact, and signed with the certificate given or the shop's own. ``signed``: intact, but
        nothing to compare the certificate with, or issued on a branch this ledger lost. ``altered``,
        ``superseded``, ``not ours``.
    text : str
    check : SheetCheck
    """

    answer: Answer
    text: str
    check: SheetCheck


def verify_sheet(
    pdf: bytes, *, shop: Workshop | None = None, known_fingerprint: str = ""
) -> SheetAnswer:
    """Return whether a sheet is as the shop signed it.

    Parameters
    ----------
    shop : Workshop, optional
        The ledger it came from, where that is at hand: then superseded sheets are told, too.
    known_fingerprint : str
        SHA-256 of the shop's certificate, as the shop tells it.

    Raises
    ------
    UnreadableFile
        It is no PDF.
    """
    check = check_sheet(pdf)
    told = _answer(check, shop, known_fingerprint)
    if check.data.get("simulated"):
        return replace(told, text=f"It is of a simulated rig, and no measurement. {told.text}")
    return told


def _answer(check: SheetCheck, shop: Workshop | None, known_fingerprint: str) -> SheetAnswer:
    if not check.intact:
        return SheetAnswer("altered", check.why, check)
    wanted = known_fingerprint.lower().replace(":", "").replace(" ", "")
    if not wanted and shop is not None:
        wanted = fingerprint(shop.book.folder)
    who = f'signed by "{check.signed_by}" at {check.signed_at}'
    if wanted and wanted != check.fingerprint:
        text = f"It is whole, but {who} with another certificate than the shop's."
        return SheetAnswer("not ours", text, check)
    if shop is not None:
        return _beside_ledger(shop, check, who)
    if wanted:
        return SheetAnswer("genuine", f"Every byte is as it was {who}.", check)
    text = f"Every byte is as it was {who}. Compare the certificate's fingerprint with the shop's."
    return SheetAnswer("signed", text, check)


def _beside_ledger(shop: Workshop, check: SheetCheck, who: str) -> SheetAnswer:
    number = str(check.data.get("number", ""))
    sheet = shop.book.sheets.find(number)
    if sheet is None:
        return _of_a_lost_branch(shop, check, who) or SheetAnswer(
            "not ours", f"The ledger knows no sheet {number}.", check
        )
    if sheet.digest != check.digest:
        return SheetAnswer("altered", f"The ledger's sheet {number} says something else.", check)
    here = not shop.book.exchange.came(sheet.id)  # another store's sheet holds a link of its own
    if here and not shop.book.has_link(str(check.data.get("ledger", ""))):
        text = (
            f"The ledger no longer holds the link that stands on sheet {number}: it was rewritten."
        )
        return SheetAnswer("altered", text, check)
    newer = shop.book.sheets.newest(sheet.piece_id, sheet.kind)
    if newer is not None and newer.number != number:
        text = f"Genuine, {who}; sheet {newer.number} of {newer.at[:10]} has taken its place."
        return SheetAnswer("superseded", text, check)
    return SheetAnswer(
        "genuine", f"Every byte is as it was {who}, and as the ledger has it.", check
    )


def _of_a_lost_branch(shop: Workshop, check: SheetCheck, who: str) -> SheetAnswer | None:
    """Return what can be said of a sheet that was issued after the backup this ledger went on from, or None."""
    number, at = str(check.data.get("number", "")), str(check.data.get("issued_at", ""))
    for branch in shop.book.exchange.branches():
        if at < branch.at and f"-{branch.name}-" not in number:
            text = (
                f"Every byte is as it was {who}. The ledger does not hold it: on {branch.at[:10]} it was restored "
                f"from a backup (branch {branch.name}), and what was written after that backup is lost here."
            )
            return SheetAnswer("signed", text, check)
    return None
