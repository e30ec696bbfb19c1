"""A piece's story: everything that happened to it, its photos and documents, where its parts came from."""

from __future__ import annotations

from typing import Annotated
from urllib.parse import quote

from fastapi import APIRouter, Depends, File, Request, Response, UploadFile
from fastapi.responses import FileResponse

from ...quantities.errors import BadInput, HeavyspotError, NotThere
from ...quantities.said import Said
from ...workshop.cartridge.past import past_runs
from ...workshop.cartridge.story import story_of as cartridge_of
from ...workshop.job.build_record import TOLD, tell
from ...workshop.job.documents import PICTURES, Part, attach, attached, write_parts
from ...workshop.job.seen import open_document, saw, views_of
from ...workshop.job.story import left_and_now, story_of_piece
from ...workshop.post import again, give_up, mail_sheet, waiting_letters
from ...workshop.records import Piece
from ...workshop.sheets.issued import sheets_of
from ...workshop.shop import Workshop, find_piece
from ...workshop.shop_file import load_shop_file
from ..access import Who, allowed
from ..deps import Shop
from ..page import Text, goto, page
from ..views.story import event_lines, paper_views
from ..views.story_picture import story_picture, waiting_picture

router = APIRouter(include_in_schema=False, dependencies=[Depends(allowed)])

PART_ROWS = 3


@router.get("/story/{serial:path}")
def story_page(request: Request, serial: str, shop: Shop, who: Who) -> Response:
    """Everything that happened to a piece, in the order of time."""
    piece = find_piece(shop, serial)
    values = _story(shop, piece)
    saw(shop, who.name, "story", piece.id)
    return page(request, "cartridge/story.html", values)


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
            raise BadInput(
                Said("refusal.no_file_was_chosen"), remedy=Said("remedy.choose_a_photo_or_a")
            )
        attach(shop, serial, file.filename, await file.read(), text=text, by=who.name)
    except HeavyspotError as fault:
        return _again(request, shop, serial, fault, {})
    return goto("/story", serial)


@router.get("/papers/{id_}/{serial:path}")
def paper(id_: str, serial: str, shop: Shop, who: Who) -> Response:
    """A photo, shown, or a document, saved."""
    found, path = open_document(shop, serial, id_, by=who.name)
    ending = path.suffix.removeprefix(".")
    if ending in PICTURES:
        kind = "jpeg" if ending == "jpg" else ending
        return FileResponse(path, media_type=f"image/{kind}")
    return FileResponse(path, media_type="application/octet-stream", filename=found.document.file)


@router.post("/sheets/{number}/mail")
def mail(
    request: Request, number: str, shop: Shop, who: Who, serial: Text, to: Text = ""
) -> Response:
    """Queue a sheet for the post."""
    try:
        mail_sheet(shop, number, to, by=who.name)
    except HeavyspotError as fault:
        return _again(request, shop, serial, fault, {"to": to})
    return goto("/story", serial)


@router.post("/post/{id_}")
def letter(request: Request, id_: str, shop: Shop, serial: Text, do: Text = "") -> Response:
    """Try a letter again now, or take it out of the post."""
    try:
        (give_up if do == "drop" else again)(shop, id_)
    except HeavyspotError as fault:
        return _again(request, shop, serial, fault, {})
    return goto("/story", serial)


def _again(
    request: Request, shop: Workshop, serial: str, fault: HeavyspotError, typed: dict[str, str]
) -> Response:
    """Return the page with the fault above it, and what was typed."""
    return page(
        request,
        "cartridge/story.html",
        _story(shop, find_piece(shop, serial)) | {"fault": fault, "typed": typed},
        status=422,
    )


def _picture(shop: Workshop, piece: Piece) -> dict[str, object]:
    """Return the picture of a cartridge; where its model is not described, that it is to be."""
    sheet = next(iter(reversed(sheets_of(shop, piece.id))), None)
    if piece.kind == "rotor":
        return {"picture": None, "sheet": sheet, "undescribed": False, "waiting": None}
    try:
        told = cartridge_of(shop, piece)
    except NotThere:
        return {"picture": None, "sheet": sheet, "undescribed": True, "waiting": None}
    picture = story_picture(told, past_runs(shop, told))
    waiting = None if picture else waiting_picture(told)
    return {"picture": picture, "sheet": sheet, "undescribed": False, "waiting": waiting}


def _story(shop: Workshop, piece: Piece) -> dict[str, object]:
    events = story_of_piece(shop, piece)
    return _picture(shop, piece) | {
        "piece": piece,
        "events": event_lines(events)[::-1],
        "rotor": piece.kind == "rotor",
        "readings": any(e.kind == "reading" for e in events),
        "both": left_and_now(events),
        "kinds": TOLD,
        "typed": {},
        "papers": paper_views(attached(shop, piece.serial), quote(piece.serial), PICTURES),
        "part_rows": range(PART_ROWS),
        "looks": views_of(shop, piece.id),
        "letters": waiting_letters(shop, tuple(s.number for s in sheets_of(shop, piece.id))),
        "posts": bool(load_shop_file(shop.folder).mail_host),
    }
