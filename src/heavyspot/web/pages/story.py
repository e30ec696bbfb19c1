"""A piece's story: everything that happened to it, its photos and documents, where its parts came from."""

from __future__ import annotations

from typing import Annotated, Any

from fastapi import APIRouter, Depends, File, Request, Response, UploadFile
from fastapi.responses import FileResponse

from ...quantities.errors import BadInput, HeavyspotError, LedgerFault
from ...workshop.job.build_record import TOLD, tell
from ...workshop.job.documents import PICTURES, Part, attach, attached, write_parts
from ...workshop.job.story import left_and_now, whole_story
from ...workshop.shop import Workshop
from ..access import Who, allowed
from ..deps import Shop
from ..page import Text, goto, page

router = APIRouter(include_in_schema=False, dependencies=[Depends(allowed)])

PART_ROWS = 3


@router.get("/story/{serial:path}")
def story_page(request: Request, serial: str, shop: Shop, who: Who) -> Response:
    """Everything that happened to a piece, in the order of time."""
    values = _story(shop, serial)
    shop.book.looks.saw(who.name, "story", values["piece"]["id"])
    return page(request, "story.html", values)


@router.post("/story/{serial:path}")
def tell_story(
    request: Request, serial: str, shop: Shop, who: Who, kind: Text = "", text: Text = ""
) -> Response:
    """Write down that a piece came back, a claim, or a note."""
    try:
        tell(shop, serial, kind, text, by=who.name)
    except HeavyspotError as fault:
        return _again(request, shop, serial, fault, {"kind": kind, "text": text})
    return goto("/story", serial)


@router.post("/parts/{serial:path}")
async def add_parts(request: Request, serial: str, shop: Shop, who: Who) -> Response:
    """Write down where the parts of a piece came from."""
    typed = {k: str(v) for k, v in (await request.form()).items()}
    rows = [
        Part(*(typed.get(f"{field}-{i}", "") for field in ("part", "supplier", "lot")))
        for i in range(PART_ROWS)
    ]
    try:
        write_parts(shop, serial, rows, by=who.name)
    except HeavyspotError as fault:
        return _again(request, shop, serial, fault, typed)
    return goto("/story", serial)


@router.post("/papers/{serial:path}")
async def add_paper(
    request: Request,
    serial: str,
    shop: Shop,
    who: Who,
    file: Annotated[UploadFile | None, File()] = None,
    text: Text = "",
) -> Response:
    """Keep a photo or document with a piece."""
    try:
        if file is None or not file.filename:
            raise BadInput("No file was chosen.", remedy="Choose a photo or a document.")
        attach(shop, serial, file.filename, await file.read(), text=text, by=who.name)
    except HeavyspotError as fault:
        return _again(request, shop, serial, fault, {})
    return goto("/story", serial)


@router.get("/papers/{id_}/{serial:path}")
def paper(id_: str, serial: str, shop: Shop, who: Who) -> Response:
    """A photo, shown, or a document, saved."""
    found = next((p for p in attached(shop, serial) if p["id"] == id_), None)
    if found is None:
        raise LedgerFault("There is no piece of paper of that name.", remedy="Look at the story.")
    path = shop.book.archive.open(found["kept_as"])
    shop.book.looks.saw(who.name, "paper", id_)
    ending = found["kept_as"].rsplit(".", 1)[-1]
    if ending in PICTURES:
        kind = "jpeg" if ending == "jpg" else ending
        return FileResponse(path, media_type=f"image/{kind}")
    return FileResponse(path, media_type="application/octet-stream", filename=found["file"])


def _again(
    request: Request, shop: Workshop, serial: str, fault: HeavyspotError, typed: dict[str, str]
) -> Response:
    """Return the page with the fault above it, and what was typed."""
    if shop.book.piece(serial) is None:
        raise fault
    return page(
        request, "story.html", _story(shop, serial) | {"fault": fault, "typed": typed}, status=422
    )


def _story(shop: Workshop, serial: str) -> dict[str, Any]:
    events = whole_story(shop, serial)
    piece = shop.piece(serial)
    return {
        "piece": piece,
        "events": events,
        "rotor": shop.kind_of(piece["model"]) == "rotor",
        "both": left_and_now(events),
        "kinds": TOLD,
        "typed": {},
        "papers": attached(shop, serial),
        "pictures": list(PICTURES),
        "part_rows": range(PART_ROWS),
        "looks": shop.book.looks.of(piece["id"], most=12),
    }
