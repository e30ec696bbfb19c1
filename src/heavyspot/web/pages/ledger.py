"""The ledger as a whole: long work, and bringing the old book in."""

from __future__ import annotations

import zipfile
from typing import Annotated

from fastapi import APIRouter, Depends, File, Request, Response, UploadFile
from fastapi.responses import FileResponse

from ...quantities.errors import BadInput, HeavyspotError, NotThere
from ...quantities.said import Said
from ...workshop.job.lookup import search_pieces
from ...workshop.keep.ledger_state import newest_link
from ...workshop.keep.long_work import LongWork, Work
from ...workshop.old_book.bring import bring_in, open_reading, preview
from ...workshop.old_book.incoming import Incoming, receive
from ...workshop.old_book.layout import FIELDS, layout_of
from ...workshop.sheets.look import shop_look
from ...workshop.sheets.reissue import find_reissue, new_reissue, reissue
from ...workshop.shop import Workshop
from ...workshop.station.disagreements import waiting_count
from ..access import Who, allowed
from ..deps import Shop
from ..page import Text, goto, page
from ..views.old_book import column_words, counts_of, few_names, merged, peaks_picture
from ..views.work import work_view

router = APIRouter(include_in_schema=False, dependencies=[Depends(allowed)])

ORDERS = {"": "not said", "dmy": "day first", "mdy": "month first", "ymd": "year first"}


def the_works(request: Request) -> LongWork:
    """Return the long work of this program."""
    works: LongWork = request.app.state.works
    return works


Works = Annotated[LongWork, Depends(the_works)]


@router.get("/ledger")
def ledger_page(request: Request, shop: Shop, works: Works) -> Response:
    """What concerns the ledger as a whole."""
    number, digest = newest_link(shop)
    held = waiting_count(shop)
    values = {"number": number, "digest": digest[:16], "works": works.all()[:10], "held": held}
    return page(request, "ledger/ledger.html", values)


@router.get("/progress/{id_}")
def work_page(request: Request, id_: str, works: Works, part: bool = False) -> Response:
    """One piece of long work; its page asks for the part that changes."""
    work = _work(works, id_)
    name = "ledger/work_state.html" if part else "ledger/work.html"
    return page(request, name, {"work": work, "view": work_view(work)})


@router.post("/progress/{id_}/stop")
def stop_work(id_: str, works: Works) -> Response:
    """Ask long work to stop."""
    _work(works, id_).stop()
    return goto("/progress", id_)


def _work(works: LongWork, id_: str) -> Work:
    found = works.find(id_)
    if found is None:
        raise NotThere(
            Said("refusal.there_is_no_work_of"), remedy=Said("remedy.look_at_the_ledger")
        )
    return found


@router.post("/ledger/sheets")
def sheets_anew(
    request: Request,
    shop: Shop,
    works: Works,
    who: Who,
    find: Text = "",
    language: Text = "",
    why: Text = "",
) -> Response:
    """Issue the sheets of all pieces that are found."""
    found = search_pieces(shop, find, most=5000)
    serials = [p.serial for p in found.rows if p.number and found.exact]
    folder = new_reissue(shop)
    try:
        if not serials:
            raise NotThere(
                Said("refusal.no_piece_that_was_measured"), remedy=Said("remedy.search_for_others")
            )
        shop_look(shop.folder, language)
        work = works.begin(
            f"Sheets of {len(serials):,} pieces",
            lambda progress, stop: reissue(
                shop,
                serials,
                folder,
                by=who.name,
                language=language,
                why=why,
                progress=progress,
                stop=stop,
            ),
            by=who.name,
        )
    except HeavyspotError as fault:
        return page(request, "fault.html", {"fault": fault}, status=422)
    work.download = f"/ledger/sheets/{folder.name}.zip"
    return goto("/progress", work.id)


@router.get("/ledger/sheets/{id_}.zip")
def sheets_made(id_: str, shop: Shop) -> Response:
    """The sheets that were issued in one go, as one archive."""
    folder = find_reissue(shop, id_)
    path = folder.with_suffix(".zip")
    with zipfile.ZipFile(path, "w") as archive:
        for pdf in sorted(folder.glob("*.pdf")):
            archive.write(pdf, pdf.name)
    return FileResponse(path, media_type="application/zip", filename="sheets.zip")


@router.get("/old-book")
def old_book(request: Request) -> Response:
    """Where a table is handed in."""
    return page(request, "ledger/old_book_new.html")


@router.post("/old-book")
async def hand_in(
    request: Request, shop: Shop, file: Annotated[UploadFile | None, File()] = None
) -> Response:
    """Take a table and show how it would be read."""
    content = await file.read() if file else b""
    try:
        if not content:
            raise BadInput(
                Said("refusal.no_file_was_chosen"), remedy=Said("remedy.choose_a_csv_or_a")
            )
        got = receive(shop, (file.filename if file else "") or "", content)
    except HeavyspotError as fault:
        return page(request, "ledger/old_book_new.html", {"fault": fault}, status=422)
    return goto("/old-book", got.id)


@router.get("/old-book/{id_}/rejects.csv")
def rejects(id_: str, shop: Shop) -> Response:
    """The rows that were not taken, each with its reason."""
    path = Incoming(shop, id_).rejects
    if not path.exists():
        raise NotThere(
            Said("refusal.no_row_was_refused"), remedy=Said("remedy.all_rows_were_taken")
        )
    return FileResponse(path, media_type="text/csv", filename="rejects.csv")


@router.get("/old-book/{id_}")
def look(request: Request, id_: str, shop: Shop, sheet: str = "") -> Response:
    """A table as it would be read."""
    return page(request, "ledger/old_book.html", _looked(shop, Incoming(shop, id_), sheet))


@router.post("/old-book/{id_}")
async def say(
    request: Request, id_: str, shop: Shop, works: Works, who: Who, do: Text = ""
) -> Response:
    """Say what the columns are, then look again, count, or take the rows."""
    form = await request.form()
    got, sheet = Incoming(shop, id_), str(form.get("sheet", ""))
    table = got.table(sheet)
    before = open_reading(shop, table, got.layout()).layout
    try:
        said = {
            "columns": {f: str(form[f"column-{f}"]) for f in FIELDS if form.get(f"column-{f}")},
            "dates": str(form.get("dates", "")),
            "peak_unit": str(form.get("peak_unit", "")),
            "customers": before.customers
            | dict(str(v).split("\t", 1) for v in form.getlist("same")),
        }
        got.say(layout_of(before.model_dump() | said))
        if do not in ("count", "take"):
            return goto("/old-book", id_)
        seen = preview(shop, table, got.layout())
        if seen.questions:
            raise BadInput(seen.questions[0], remedy="")
        work = works.begin(
            f"{'Counting' if do == 'count' else 'Taking'} {got.name}",
            lambda progress, stop: bring_in(
                shop, got.table(sheet), got.layout(), rejects=got.rejects, by=who.name,
                dry_run=do == "count", progress=progress, stop=stop,
            ),
            by=who.name,
            back=f"/old-book/{id_}",
        )  # fmt: skip
    except HeavyspotError as fault:
        values = _looked(shop, got, sheet) | {"fault": fault}
        return page(request, "ledger/old_book.html", values, status=422)
    return goto("/progress", work.id)


def _looked(shop: Workshop, got: Incoming, sheet: str) -> dict[str, object]:
    table = got.table(sheet)
    seen = preview(shop, table, got.layout())
    return {
        "got": got, "table": table, "seen": seen, "peaks": peaks_picture(seen.first),
        "counts": counts_of(seen.rows, seen.refused_count, seen.questions, seen.alike), "fields": list(FIELDS),
        "column_words": column_words(list(FIELDS)), "customers": merged(seen.layout.customers),
        "new_models": few_names(seen.new_models), "orders": ORDERS,
        "rejects": got.rejects.exists(),
    }  # fmt: skip
