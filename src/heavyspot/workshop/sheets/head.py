"""What every sheet says, from the piece, its shop and its rig."""

from __future__ import annotations

from datetime import date, datetime
from typing import Any

from ...ledger.store.entries import Row, now_utc
from ..shop import Workshop
from ..shop_file import load_shop_file


def head_of(
    shop: Workshop,
    piece: Row,
    *,
    number: str,
    at: str | None,
    by: str,
    cautions: tuple[str, ...],
    flow: bool = False,
) -> dict[str, Any]:
    """Return the fields of a head that hang on the piece and the shop, for any kind of sheet."""
    settings = load_shop_file(shop.book.folder)
    return {
        "number": number,
        "issued_at": at or now_utc(),
        "shop": settings.name,
        "address": settings.address,
        "customer": piece["customer"],
        "invoice": piece["invoice"],
        "serial": piece["serial"],
        "received": piece["day"],
        "cautions": (*cautions, *settings.cautions),
        "issued_by": by,
        "replaces": replaced_by(shop, piece["id"], number, flow=flow),
        "ledger": shop.book.head()[1],
        "verify_url": settings.verify_url,
    }


def replaced_by(shop: Workshop, piece_id: str, number: str, *, flow: bool = False) -> str:
    """Return the number of the sheet of the same kind a new one replaces; empty for the first."""
    earlier = shop.book.papers.newest_sheet(piece_id, flow=flow)
    return str(earlier["number"]) if earlier and earlier["number"] != number else ""


def calibration_text(rig: dict[str, Any], at: str) -> str:
    """Return the calibration state on the day of the run."""
    if not rig:
        return "no calibration on record"
    text = (
        f"calibrated {rig['calibrated_at']}"
        if rig.get("calibrated_at")
        else "calibration date unknown"
    )
    if rig.get("certificate"):
        text += f", certificate {rig['certificate']}"
    if rig.get("due"):
        day = datetime.fromisoformat(at.replace("Z", "+00:00")).date()
        overdue = date.fromisoformat(rig["due"]) < day
        text += f", PAST DUE since {rig['due']}" if overdue else f", due {rig['due']}"
    return text
