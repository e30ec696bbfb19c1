"""What is kept with a piece beside its runs: photos, documents, and where its parts came from."""

from __future__ import annotations

import hashlib
import re
from collections.abc import Sequence
from dataclasses import asdict, dataclass
from pathlib import Path

from ...ledger.records import PieceEvent
from ...ledger.store.entries import now_utc
from ...ledger.store.identity import new_id
from ...quantities.durable import write_bytes
from ...quantities.errors import BadInput, LedgerFault
from ...quantities.said import Said
from ..shop import Workshop, find_piece
from ..stored import stored

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


@dataclass(frozen=True)
class PartsList:
    """Where the parts of a piece came from, as it is kept."""

    parts: tuple[Part, ...]


@dataclass(frozen=True)
class Document:
    """A photo or document kept with a piece; `kept_as` is the program's own name for it."""

    file: str
    kept_as: str
    sha256: str
    bytes: int
    text: str = ""


def attach(
    shop: Workshop, serial: str, name: str, content: bytes, *, text: str = "", by: str = ""
) -> Document:
    """Keep a photo or document with a piece; returns what was written down of it.

    Raises
    ------
    BadInput
        It is empty, too large, has no ending, or is no picture though its name says so.
    LedgerFault
        No such piece, or the disk refuses.
    """
    piece = find_piece(shop, serial)
    name = Path(name.replace("\\", "/")).name.strip()
    called = name or Said("refused_noun.the_file")
    ending = name.rsplit(".", 1)[-1].lower() if "." in name else ""
    if not content or len(content) > LARGEST:
        raise BadInput(
            Said("refusal.has_mb", {"value": called, "content": len(content) / 1e6}),
            remedy=Said("remedy.between_one_byte_and_mb", {"largest": LARGEST // 1_000_000}),
        )
    if not re.fullmatch(r"[a-z0-9]{1,5}", ending):
        raise BadInput(
            Said("refusal.has_no_ending", {"value": called}),
            remedy=Said("remedy.name_it_like_photo_jpg"),
        )
    if ending in PICTURES and not content.startswith(PICTURES[ending]):
        raise BadInput(
            Said("refusal.is_no_picture_of_that", {"name": name}),
            remedy=Said("remedy.save_it_again_as_jpeg"),
        )
    at = now_utc()
    kept_as = f"papers/{at[:4]}/{at[5:7]}/{new_id()}.{ending}"
    path = shop.book.folder / kept_as
    try:
        path.parent.mkdir(parents=True, exist_ok=True)
        write_bytes(path, content)
    except OSError as fault:
        raise LedgerFault(
            Said("refusal.cannot_be_kept", {"name": name, "strerror": str(fault.strerror)}),
            remedy=Said("remedy.make_room_then_hand_it"),
        ) from None
    document = Document(
        file=name[:120],
        kept_as=kept_as,
        sha256=hashlib.sha256(content).hexdigest(),
        bytes=len(content),
        text=text.strip()[:2000],
    )
    shop.book.events.add(piece.id, "attached", asdict(document), by=by)
    return document


@dataclass(frozen=True)
class Attached:
    """A document kept with a piece, with who brought it and when."""

    id: str
    at: str
    by: str
    document: Document

    def as_json(self) -> dict[str, object]:
        """Return it as JSON-ready values."""
        return {"id": self.id, "at": self.at, "by": self.by, **asdict(self.document)}


def attached(shop: Workshop, serial: str) -> list[Attached]:
    """Return the photos and documents of a piece, oldest first."""
    return attached_to(shop.book.events.of_piece(find_piece(shop, serial).id))


def attached_to(events: Sequence[PieceEvent]) -> list[Attached]:
    """Return the photos and documents among what happened to a piece."""
    return [
        Attached(e.id, e.at, e.by, stored(Document, e.content, what="A document"))
        for e in events
        if e.kind == "attached"
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
        raise BadInput(
            Said("refusal.parts_are_given", {"told": len(told)}),
            remedy=Said("remedy.one_to_most", {"most": MOST_PARTS}),
        )
    if any(not p.part for p in told):
        raise BadInput(
            Said("refusal.a_part_has_no_name"), remedy=Said("remedy.say_which_part_it_is")
        )
    if any(len(v) > 120 for p in told for v in (p.part, p.supplier, p.lot)):
        raise BadInput(
            Said("refusal.a_text_is_too_long"), remedy=Said("remedy.at_most_120_letters")
        )
    parts_list = PartsList(tuple(told))
    shop.book.events.add(find_piece(shop, serial).id, "parts", asdict(parts_list), by=by)
