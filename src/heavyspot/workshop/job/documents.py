"""What is kept with a piece beside its runs: photos, documents, and where its parts came from."""

from __future__ import annotations

import hashlib
import os
import re
from collections.abc import Sequence
from dataclasses import dataclass
from pathlib import Path

from ...ledger.store.entries import Row, now_utc
from ...ledger.store.identity import new_id
from ...quantities.errors import BadInput, LedgerFault
from ..shop import Workshop

LARGEST = 25_000_000

PICTURES = {"jpg": b"\xff\xd8\xff", "jpeg": b"\xff\xd8\xff", "png": b"\x89PNG", "webp": b"RIFF"}
"""Kinds that are shown in the page, and how their files begin."""

MOST_PARTS = 20


@dataclass(frozen=True)
class Part:
    """A part of a piece, and where it came from."""

    part: str
    supplier: str = ""
    lot: str = ""


def attach(
    shop: Workshop, serial: str, name: str, content: bytes, *, text: str = "", by: str = ""
) -> Row:
    """Keep a photo or document with a piece; returns what was written down of it.

    Raises
    ------
    BadInput
        It is empty, too large, has no ending, or is no picture though its name says so.
    LedgerFault
        No such piece, or the disk refuses.
    """
    piece = shop.piece(serial)
    name = Path(name.replace("\\", "/")).name.strip()
    ending = name.rsplit(".", 1)[-1].lower() if "." in name else ""
    if not content or len(content) > LARGEST:
        raise BadInput(
            f"{name or 'The file'} has {len(content) / 1e6:.1f} MB.",
            remedy=f"Between one byte and {LARGEST // 1_000_000} MB.",
        )
    if not re.fullmatch(r"[a-z0-9]{1,5}", ending):
        raise BadInput(f"{name or 'The file'} has no ending.", remedy="Name it like photo.jpg.")
    if ending in PICTURES and not content.startswith(PICTURES[ending]):
        raise BadInput(
            f"{name} is no picture of that kind.", remedy="Save it again as JPEG or PNG."
        )
    at = now_utc()
    kept_as = f"papers/{at[:4]}/{at[5:7]}/{new_id()}.{ending}"
    path = shop.book.folder / kept_as
    try:
        path.parent.mkdir(parents=True, exist_ok=True)
        with path.open("wb") as file:
            file.write(content)
            file.flush()
            os.fsync(file.fileno())
    except OSError as fault:
        path.unlink(missing_ok=True)
        raise LedgerFault(
            f"{name} cannot be kept ({fault.strerror}).", remedy="Make room, then hand it in again."
        ) from None
    told = {
        "file": name[:120],
        "kept_as": kept_as,
        "sha256": hashlib.sha256(content).hexdigest(),
        "bytes": len(content),
        "text": text.strip()[:2000],
    }
    shop.book.papers.add_happening(piece["id"], "attached", told, by=by)
    return told


def attached(shop: Workshop, serial: str) -> list[Row]:
    """Return the photos and documents of a piece, oldest first."""
    rows = shop.book.papers.happenings(shop.piece(serial)["id"])
    return [
        {"id": r["id"], "at": r["at"], "by": r["by"], **r["content"]}
        for r in rows
        if r["kind"] == "attached"
    ]


def write_parts(shop: Workshop, serial: str, parts: Sequence[Part], *, by: str = "") -> None:
    """Write down where the parts of a piece came from; earlier ones stay in its story.

    Raises
    ------
    BadInput
        No part, too many, one without a name, or a text that is too long.
    """
    told = [Part(*(v.strip() for v in (p.part, p.supplier, p.lot))) for p in parts]
    told = [p for p in told if p.part or p.supplier or p.lot]
    if not told or len(told) > MOST_PARTS:
        raise BadInput(f"{len(told)} parts are given.", remedy=f"One to {MOST_PARTS}.")
    if any(not p.part for p in told):
        raise BadInput("A part has no name.", remedy="Say which part it is: turbine shaft, wheel.")
    if any(len(v) > 120 for p in told for v in (p.part, p.supplier, p.lot)):
        raise BadInput("A text is too long.", remedy="At most 120 letters.")
    content = {"parts": [{"part": p.part, "supplier": p.supplier, "lot": p.lot} for p in told]}
    shop.book.papers.add_happening(shop.piece(serial)["id"], "parts", content, by=by)
