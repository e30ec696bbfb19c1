"""Is this sheet genuine? Answered on any computer from the sheet alone, and further beside the ledger."""

from __future__ import annotations

from dataclasses import dataclass
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
        nothing to compare the certificate with. ``altered``, ``superseded``, ``not ours``.
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
        return SheetAnswer("not ours", f"The ledger knows no sheet {number}.", check)
    if sheet.digest != check.digest:
        return SheetAnswer("altered", f"The ledger's sheet {number} says something else.", check)
    if not shop.book.has_link(str(check.data.get("ledger", ""))):
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
