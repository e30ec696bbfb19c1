"""What every sheet says, from the piece, its shop and its rig."""

from __future__ import annotations

from datetime import date
from typing import Any

from ...ledger.records import Piece
from ...ledger.store.entries import now_utc
from ...quantities.clock import time_of
from ...quantities.errors import LedgerFault
from ...quantities.said import Said, as_it_is
from ..rig import parse_rig
from ..rig.simulated import is_simulated
from ..shop import Workshop
from ..shop_file import load_shop_file


def head_of(
    shop: Workshop,
    piece: Piece,
    kind: str,
    *,
    rig: str,
    number: str,
    at: str | None,
    by: str,
    cautions: tuple[Said, ...],
) -> dict[str, Any]:
    """Return the fields of a head that hang on the piece, its rig and the shop, for a sheet of a kind.

    Raises
    ------
    LedgerFault
        The index of pieces, which is no entry, says something else of the piece than its entries.
    """
    if wrong := shop.book.index_differs(piece.id):
        raise LedgerFault(
            f"The index of pieces does not say of {piece.serial} what the ledger says ({', '.join(wrong)}).",
            remedy="heavyspot reindex makes it anew; heavyspot verify tells what else was changed.",
        )
    settings = load_shop_file(shop.folder)
    return {
        "number": number,
        "issued_at": at or now_utc(),
        "shop": settings.name,
        "address": settings.address,
        "customer": piece.customer,
        "invoice": piece.invoice,
        "serial": piece.serial,
        "received": piece.day,
        "cautions": (*cautions, *(as_it_is(c) for c in settings.cautions)),
        "issued_by": by,
        "replaces": replaced_by(shop, piece.id, kind, number),
        "ledger": shop.book.head()[1],
        "verify_url": settings.verify_url,
        "rig": rig,
        "simulated": is_simulated(shop, rig),
    }


def replaced_by(shop: Workshop, piece_id: str, kind: str, number: str) -> str:
    """Return the number of the sheet of the same kind a new one replaces; empty for the first."""
    earlier = shop.book.sheets.newest(piece_id, kind)
    return earlier.number if earlier and earlier.number != number else ""


def calibration_said(rig: dict[str, Any], at: str) -> tuple[Said, ...]:
    """Return the calibration state of a rig on the day of a run, from the record frozen into it."""
    if not rig:
        return (Said("calibration.none"),)
    record = parse_rig("of the run", rig)
    done = record.calibrated_at
    said = [Said("calibration.on", {"day": done}) if done else Said("calibration.undated")]
    if record.certificate:
        said.append(Said("calibration.certificate", {"certificate": record.certificate}))
    if record.due:
        day = time_of(at).date()
        overdue = date.fromisoformat(record.due) < day
        code = "calibration.past_due" if overdue else "calibration.due"
        said.append(Said(code, {"day": record.due}))
    return tuple(said)
